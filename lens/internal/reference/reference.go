// Package reference lets tests ask lensfun's own modifier what it would do. It is
// imported by tests only.
package reference

/*
#cgo linux LDFLAGS: -llensfun
#cgo !linux pkg-config: lensfun
#include <stdlib.h>
#include <lensfun/lensfun.h>

static lfModifier *start(lfDatabase *db, const char *maker, const char *model, const char *lens,
		float focal, float fnumber, float distance, int w, int h) {
	const lfCamera **c = lf_db_find_cameras(db, maker, model);
	if (!c) return NULL;
	const lfLens **l = lf_db_find_lenses_hd(db, c[0], NULL, lens, 0);
	if (!l) return NULL;
	lfModifier *m = lf_modifier_new(l[0], c[0]->CropFactor, w, h);
	lf_modifier_initialize(m, l[0], LF_PF_F32, focal, fnumber, distance, 1, LF_RECTILINEAR,
		LF_MODIFY_TCA | LF_MODIFY_VIGNETTING | LF_MODIFY_DISTORTION, 0);
	lf_free(c);
	lf_free(l);
	return m;
}

static float gain(lfModifier *m, float x, float y) {
	float v[3] = {1, 1, 1};
	lf_modifier_apply_color_modification(m, v, x, y, 1, 1, LF_CR_3(RED, GREEN, BLUE), 12);
	return v[1];
}
*/
import "C"

import (
	"fmt"
	"unsafe"
)

// Modifier is lensfun's modifier for one lens, setting and picture size.
type Modifier struct{ m *C.lfModifier }

// New returns the modifier of the best match.
func New(maker, model, lens string, focal, fnumber, distance float64, w, h int) (*Modifier, error) {
	db := C.lf_db_new()
	if C.lf_db_load(db) != 0 {
		return nil, fmt.Errorf("lensfun database not found")
	}
	a, b, c := C.CString(maker), C.CString(model), C.CString(lens)
	defer C.free(unsafe.Pointer(a))
	defer C.free(unsafe.Pointer(b))
	defer C.free(unsafe.Pointer(c))
	m := C.start(db, a, b, c, C.float(focal), C.float(fnumber), C.float(distance), C.int(w), C.int(h))
	if m == nil {
		return nil, fmt.Errorf("lensfun does not know %s %s with %s", maker, model, lens)
	}
	return &Modifier{m}, nil
}

// Source returns where the corrected pixel (x, y) comes from in red, green and
// blue. Pixel centres lie on whole numbers.
func (m *Modifier) Source(x, y float64) (rgb [3][2]float64) {
	var v [6]C.float
	C.lf_modifier_apply_subpixel_geometry_distortion(m.m, C.float(x), C.float(y), 1, 1, &v[0])
	for c := range 3 {
		rgb[c] = [2]float64{float64(v[2*c]), float64(v[2*c+1])}
	}
	return rgb
}

// Gain returns what the pixel (x, y) of the uncorrected picture is multiplied by.
func (m *Modifier) Gain(x, y float64) float64 { return float64(C.gain(m.m, C.float(x), C.float(y))) }
