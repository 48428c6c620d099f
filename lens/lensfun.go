package lens

/*
#cgo linux LDFLAGS: -llensfun
#cgo !linux pkg-config: lensfun
#include <stdlib.h>
#include <lensfun/lensfun.h>
*/
import "C"

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"unsafe"
)

// Query says which lens and setting a profile is wanted for. Names are as the
// camera wrote them; a zero number is unknown.
type Query struct {
	Make, Model string  // of the camera
	Lens        string  // empty for a camera with a fixed lens
	FocalMM     float64 // as written in the file
	FNumber     float64
	DistanceM   float64 // to the subject; unknown counts as 3 m, a room
}

// database is loaded once: it takes a quarter of a second. lensfun's look-ups
// sort in place, so they are taken one at a time.
var database struct {
	sync.Mutex
	once sync.Once
	db   *C.lfDatabase
}

// Find looks a lens up in the lensfun database. It returns nil when the database
// doesn't know the lens for certain, and in either case a note for the report.
func Find(q Query) (p *Profile, note string) {
	if q.FocalMM <= 0 {
		return nil, "no lens profile: the file does not say the focal length"
	}
	if !load() {
		return nil, "no lens profile: the lensfun database is not installed"
	}
	database.Lock()
	defer database.Unlock()
	camera := findCamera(q)
	if camera == nil {
		return nil, fmt.Sprintf("no lens profile: lensfun does not know the camera %q", strings.TrimSpace(q.Make+" "+q.Model))
	}
	l := findLens(camera, q)
	if l == nil {
		return nil, fmt.Sprintf("no lens profile: lensfun does not know the lens %q on this camera", q.Lens)
	}
	if l.Type != C.LF_RECTILINEAR {
		return nil, fmt.Sprintf("no lens profile: %q is not a rectilinear lens", C.GoString(C.lf_mlstr_get(l.Model)))
	}
	return profile(l, q, float64(camera.CropFactor))
}

// load reads the database; false when there is none.
func load() bool {
	database.once.Do(func() {
		database.db = C.lf_db_new()
		if database.db != nil && C.lf_db_load(database.db) != 0 {
			C.lf_db_destroy(database.db)
			database.db = nil
		}
	})
	return database.db != nil
}

// CropFactor returns how many times longer the diagonal of 36 x 24 mm is than that of
// the camera's sensor, as the lensfun database has it; 0 when it doesn't know the
// camera.
func CropFactor(make, model string) float64 {
	if model == "" || !load() {
		return 0
	}
	database.Lock()
	defer database.Unlock()
	if c := findCamera(Query{Make: make, Model: model}); c != nil {
		return float64(c.CropFactor)
	}
	return 0
}

// findCamera looks the camera up by its names as written, then, as some programs cut
// the maker's name off the model's, with that put back.
func findCamera(q Query) *C.lfCamera {
	if q.Model == "" {
		return nil
	}
	if c := cameraNamed(q.Make, q.Model); c != nil || q.Make == "" {
		return c
	}
	return cameraNamed(q.Make, q.Make+" "+q.Model)
}

func cameraNamed(make, model string) *C.lfCamera {
	maker, name := C.CString(make), C.CString(model)
	defer C.free(unsafe.Pointer(maker))
	defer C.free(unsafe.Pointer(name))
	list := C.lf_db_find_cameras(database.db, maker, name)
	if list == nil {
		return nil
	}
	defer C.lf_free(unsafe.Pointer(list))
	return *(**C.lfCamera)(unsafe.Pointer(list))
}

func findLens(camera *C.lfCamera, q Query) *C.lfLens {
	var name *C.char
	if q.Lens != "" {
		name = C.CString(q.Lens)
		defer C.free(unsafe.Pointer(name))
	}
	list := C.lf_db_find_lenses_hd(database.db, camera, nil, name, 0)
	if list == nil {
		return nil
	}
	defer C.lf_free(unsafe.Pointer(list))
	var found []*C.lfLens
	for at := (**C.lfLens)(unsafe.Pointer(list)); *at != nil; at = (**C.lfLens)(unsafe.Add(unsafe.Pointer(at), unsafe.Sizeof(*at))) {
		found = append(found, *at)
	}
	if q.Lens == "" && len(found) != 1 {
		return nil // many lenses fit this mount: anyone's guess
	}
	for _, l := range found {
		if !focalFits(l, q.FocalMM) {
			continue
		}
		if q.Lens == "" || sameLens(q.Lens, C.GoString(C.lf_mlstr_get(l.Model))) {
			return l
		}
	}
	return nil
}

func focalFits(l *C.lfLens, mm float64) bool {
	lo, hi := float64(l.MinFocal), float64(l.MaxFocal)
	if lo == 0 {
		return true
	}
	return mm > lo*0.96-0.5 && mm < max(lo, hi)*1.04+0.5
}

// profile reads the calibration interpolated to the query's setting. Radii in the
// database are in half short sides of the calibration picture (vignetting: in its
// half-diagonals); crop is the camera's.
func profile(l *C.lfLens, q Query, crop float64) (*Profile, string) {
	name := C.GoString(C.lf_mlstr_get(l.Model))
	p := New(name, "lensfun database")
	aspect := float64(l.AspectRatio)
	if aspect <= 0 {
		aspect = 1.5
	}
	corner := crop / float64(l.CropFactor) // one calibration half-diagonal in ours
	unit := corner / math.Sqrt(1+aspect*aspect)
	p.CentreX, p.CentreY = float64(l.CenterX)*unit, float64(l.CenterY)*unit
	var has []string

	var d C.lfLensCalibDistortion
	if C.lf_lens_interpolate_distortion(l, C.float(q.FocalMM), &d) != 0 {
		t := [3]float64{float64(d.Terms[0]), float64(d.Terms[1]), float64(d.Terms[2])}
		switch d.Model {
		case C.LF_DIST_MODEL_POLY3:
			p.Distortion = poly3(t[0], unit)
		case C.LF_DIST_MODEL_POLY5:
			p.Distortion = poly5(t[0], t[1], unit)
		case C.LF_DIST_MODEL_PTLENS:
			p.Distortion = ptlens(t[0], t[1], t[2], unit)
		}
	}
	if p.Bends() {
		has = append(has, "distortion")
	}

	var c C.lfLensCalibTCA
	if C.lf_lens_interpolate_tca(l, C.float(q.FocalMM), &c) != 0 {
		t := func(i int) float64 { return float64(c.Terms[i]) }
		switch c.Model {
		case C.LF_TCA_MODEL_LINEAR:
			p.Red, p.Blue = lateral(t(0), 0, 0, unit), lateral(t(1), 0, 0, unit)
		case C.LF_TCA_MODEL_POLY3:
			p.Red, p.Blue = lateral(t(0), t(2), t(4), unit), lateral(t(1), t(3), t(5), unit)
		}
	}
	if p.Lateral() {
		has = append(has, "lateral colour")
	}

	var v C.lfLensCalibVignetting
	distance := q.DistanceM
	if distance <= 0 {
		distance = 3
	}
	if q.FNumber > 0 && C.lf_lens_interpolate_vignetting(l, C.float(q.FocalMM), C.float(q.FNumber), C.float(distance), &v) != 0 &&
		v.Model == C.LF_VIGNETTING_MODEL_PA {
		p.Falloff = falloff(float64(v.Terms[0]), float64(v.Terms[1]), float64(v.Terms[2]), corner)
		has = append(has, "vignetting")
	}
	if len(has) == 0 {
		return nil, fmt.Sprintf("no lens profile: lensfun lists %q without figures for %.4g mm", name, q.FocalMM)
	}
	return p, fmt.Sprintf("lens profile %q from lensfun: %s", name, strings.Join(has, ", "))
}
