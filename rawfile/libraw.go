package rawfile

// The C side of LibRaw, kept to what Go can't say: the callback that counts data
// errors, and calls in the order the library wants them. Everything that judges
// or converts is Go.

/*
#cgo pkg-config: libraw_r
#include <stdlib.h>
#include <libraw/libraw.h>

typedef struct { int count; long first; } mullion_data_errors;

static void mullion_on_data_error(void *p, const char *file, const int offset) {
	mullion_data_errors *e = p;
	if (e->count++ == 0) e->first = offset;
}

static libraw_data_t *mullion_libraw_new(mullion_data_errors *e, unsigned max_mb) {
	libraw_data_t *lr = libraw_init(LIBRAW_OPTIONS_NONE);
	if (!lr) return NULL;
	libraw_set_memerror_handler(lr, NULL, NULL);
	libraw_set_dataerror_handler(lr, mullion_on_data_error, e);
#if LIBRAW_COMPILE_CHECK_VERSION_NOTLESS(0, 21)
	lr->rawparams.max_raw_memory_mb = max_mb;
#else
	lr->params.max_raw_memory_mb = max_mb;
#endif
	return lr;
}

// Interpolation to linear camera RGB: no gains, no curve, no turning, no guessing.
static int mullion_libraw_interpolate(libraw_data_t *lr, int balance, int output_color) {
	libraw_output_params_t *p = &lr->params;
	p->output_bps = 16; p->gamm[0] = p->gamm[1] = 1; p->no_auto_bright = 1;
	p->adjust_maximum_thr = 0; p->user_flip = 0; p->user_qual = 3; p->highlight = 0;
	p->output_color = output_color; p->use_camera_wb = balance; p->use_auto_wb = 0;
	if (!balance) for (int i = 0; i < 4; i++) p->user_mul[i] = 1;
	return libraw_dcraw_process(lr);
}
*/
import "C"

import (
	"context"
	"fmt"
	"runtime"
	"time"
	"unsafe"

	"mullion/metadata"
)

// maxRawMB bounds what LibRaw may allocate for one picture: 150 megapixels of
// interpolated 16-bit samples and some room. A header that claims more is hostile
// or damaged.
const maxRawMB = 2048

// Version returns the version of the LibRaw library in use, such as "0.21.4".
func Version() string { return C.GoString(C.libraw_version()) }

// library is one open raw file inside LibRaw.
type library struct {
	lr     *C.libraw_data_t
	errors *C.mullion_data_errors
	pin    runtime.Pinner
}

// libraryError is a code LibRaw returned.
type libraryError C.int

func (e libraryError) Error() string { return C.GoString(C.libraw_strerror(C.int(e))) }

// tooBig and unsupported say what the caller's advice depends on.
func (e libraryError) tooBig() bool {
	return e == C.LIBRAW_TOO_BIG || e == C.LIBRAW_UNSUFFICIENT_MEMORY || e == C.LIBRAW_MEMPOOL_OVERFLOW
}
func (e libraryError) unsupported() bool {
	return e == C.LIBRAW_FILE_UNSUPPORTED || e == C.LIBRAW_NOT_IMPLEMENTED
}

// openLibrary gives LibRaw a file in memory. The bytes stay pinned until close.
func openLibrary(data []byte) (*library, error) {
	l := &library{errors: (*C.mullion_data_errors)(C.calloc(1, C.sizeof_mullion_data_errors))}
	l.lr = C.mullion_libraw_new(l.errors, maxRawMB)
	if l.lr == nil {
		C.free(unsafe.Pointer(l.errors))
		return nil, libraryError(C.LIBRAW_UNSUFFICIENT_MEMORY)
	}
	l.pin.Pin(&data[0])
	if rc := C.libraw_open_buffer(l.lr, unsafe.Pointer(&data[0]), C.size_t(len(data))); rc != 0 {
		l.close()
		return nil, libraryError(rc)
	}
	return l, nil
}

func (l *library) close() {
	C.libraw_close(l.lr)
	C.free(unsafe.Pointer(l.errors))
	l.pin.Unpin()
}

func (l *library) unpack(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if rc := C.libraw_unpack(l.lr); rc != 0 {
		return libraryError(rc)
	}
	return ctx.Err()
}

// dataErrors returns how often the decoder met data it could not make sense of, and
// the offset of the first place (-1: the end of the file).
func (l *library) dataErrors() (count int, first int64) {
	return int(l.errors.count), int64(l.errors.first)
}

// sensor is what LibRaw knows of the sensor's samples.
type sensor struct {
	rawW, rawH    int // stored samples
	pitch         int // samples a stored row
	left, top     int // corner of the active area
	w, h          int // active area
	colours       int
	filters       uint32
	colourOf      [8][2]uint8 // LibRaw's colour index by position in the active area
	names         string      // the colour of each index, "RGBG"
	flip          int         // 0, 3, 5, 6 as LibRaw counts
	black         float32
	blackChannel  [4]float32
	blackPattern  []float32 // patternH x patternW, by position
	patternW      int
	patternH      int
	patternX      int // place of the active area's corner in the pattern
	patternY      int
	white         float32
	float         bool    // samples are floating point
	skewed        bool    // photosites on a lattice turned by 45 degrees
	aspect        float64 // how far pixels are from square; 1 on almost every sensor
	phaseBlack    bool    // black level differs along rows and columns
	make, model   string
	singleChannel bool // one sample a photosite is there
}

func (l *library) sensor() sensor {
	d := l.lr
	c, s := &d.color, &d.sizes
	out := sensor{
		rawW: int(s.raw_width), rawH: int(s.raw_height), pitch: int(s.raw_pitch) / 2,
		left: int(s.left_margin), top: int(s.top_margin), w: int(s.width), h: int(s.height),
		colours: int(d.idata.colors), filters: uint32(d.idata.filters), flip: int(s.flip),
		names: C.GoString(&d.idata.cdesc[0]),
		black: float32(c.black), white: float32(c.maximum),
		skewed:        d.rawdata.ioparams.fuji_width != 0,
		aspect:        float64(s.pixel_aspect),
		phaseBlack:    d.rawdata.ph1_cblack != nil || d.rawdata.ph1_rblack != nil,
		make:          C.GoString(&d.idata.make[0]),
		model:         C.GoString(&d.idata.model[0]),
		singleChannel: d.rawdata.raw_image != nil,
	}
	for i := range out.blackChannel {
		out.blackChannel[i] = float32(c.cblack[i])
	}
	ph, pw := int(c.cblack[4]), int(c.cblack[5])
	if ph > 0 && pw > 0 && ph*pw <= len(c.cblack)-6 {
		out.patternH, out.patternW = ph, pw
		for i := range ph * pw {
			out.blackPattern = append(out.blackPattern, float32(c.cblack[6+i]))
		}
	}
	if out.filters > 1000 {
		for y := range out.colourOf {
			for x := range out.colourOf[y] {
				out.colourOf[y][x] = uint8(C.libraw_COLOR(d, C.int(y), C.int(x)))
			}
		}
	}
	return out
}

// samples returns LibRaw's own buffer of stored samples, valid until close.
func (l *library) samples(s sensor) ([]uint16, error) {
	p := l.lr.rawdata.raw_image
	need := s.pitch*(s.rawH-1) + s.rawW
	if p == nil || s.pitch < s.rawW || s.left+s.w > s.rawW || s.top+s.h > s.rawH || s.w < 2 || s.h < 2 || need <= 0 {
		return nil, fmt.Errorf("the active area %dx%d at %d,%d leaves the sensor's %dx%d", s.w, s.h, s.left, s.top, s.rawW, s.rawH)
	}
	return unsafe.Slice((*uint16)(unsafe.Pointer(p)), need), nil
}

// interpolate lets LibRaw make three full colours of each pixel, and returns its
// buffer of four samples a pixel, valid until close. Without balance they are
// camera RGB, 65535 = white level; with balance they are white-balanced linear
// Rec. 709, for sensors of four colours.
func (l *library) interpolate(balance bool) (pix []uint16, w, h int, err error) {
	wb, space := C.int(0), C.int(0)
	if balance {
		wb, space = 1, 1
	}
	if rc := C.mullion_libraw_interpolate(l.lr, wb, space); rc != 0 {
		return nil, 0, 0, libraryError(rc)
	}
	w, h = int(l.lr.sizes.width), int(l.lr.sizes.height)
	if l.lr.image == nil || w < 2 || h < 2 {
		return nil, 0, 0, libraryError(C.LIBRAW_DATA_ERROR)
	}
	return unsafe.Slice((*uint16)(unsafe.Pointer(l.lr.image)), 4*w*h), w, h, nil
}

// calibration gathers the colour data of LibRaw's tables and the makers' notes.
func (l *library) calibration() calibration {
	c := &l.lr.color
	var out calibration
	for i := range 3 {
		out.daylight[i], out.asShot[i] = float64(c.pre_mul[i]), float64(c.cam_mul[i])
		for j := range 3 {
			out.table[i][j] = float64(c.cam_xyz[i][j])
			out.toRec709[i][j] = float64(c.rgb_cam[i][j])
		}
	}
	return out
}

// fillInfo completes what the tag reader could not find from what LibRaw knows of
// the makers' own data.
func (l *library) fillInfo(info *metadata.Info, s sensor) {
	o, lens := &l.lr.other, &l.lr.lens
	if info.Make == "" {
		info.Make = s.make
	}
	if info.Model == "" {
		info.Model = s.model
	}
	if info.Lens == "" {
		info.Lens = C.GoString(&lens.Lens[0])
	}
	// An APEX value of 0, left by a writer that knew nothing, reads as 1 s at f/1.
	nothing := o.shutter == 1 && o.aperture == 1
	if !nothing && info.Seconds == 0 && o.shutter > 0 && o.shutter < 86400 {
		info.Marked = float64(o.shutter)
		info.Seconds = metadata.TrueSeconds(info.Marked)
	}
	if info.ISO == 0 && o.iso_speed > 0 {
		info.ISO = float64(o.iso_speed)
	}
	if !nothing && info.FNumber == 0 && o.aperture > 0 && o.aperture < 200 {
		info.FNumber = metadata.TrueFNumber(float64(o.aperture))
	}
	if info.FocalMM == 0 && o.focal_len > 0 {
		info.FocalMM = float64(o.focal_len)
	}
	if info.Focal35MM == 0 {
		info.Focal35MM = float64(lens.FocalLengthIn35mmFormat)
	}
	if info.Time.IsZero() && o.timestamp > 0 {
		// LibRaw took the camera's clock for local time; take it back.
		t := time.Unix(int64(o.timestamp), 0)
		info.Time = time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	}
	if info.Orientation <= 1 {
		info.Orientation = map[int]int{3: 3, 5: 8, 6: 6}[s.flip]
		if info.Orientation == 0 {
			info.Orientation = 1
		}
	}
	if info.Width == 0 {
		info.Width, info.Height = s.w, s.h
	}
}

// preview returns the file's largest preview: a JPEG, or interleaved 8-bit RGB of
// w x h; nil without one of these kinds.
func (l *library) preview() (pix []byte, w, h int, isJPEG bool) {
	if C.libraw_unpack_thumb(l.lr) != 0 {
		return nil, 0, 0, false
	}
	t := &l.lr.thumbnail
	n := int(t.tlength)
	if t.thumb == nil || n <= 0 {
		return nil, 0, 0, false
	}
	pix = C.GoBytes(unsafe.Pointer(t.thumb), C.int(n))
	w, h = int(t.twidth), int(t.theight)
	switch t.tformat {
	case C.LIBRAW_THUMBNAIL_JPEG:
		return pix, w, h, true
	case C.LIBRAW_THUMBNAIL_BITMAP:
		if w > 0 && h > 0 && n >= 3*w*h && t.tcolors == 3 {
			return pix, w, h, false
		}
	}
	return nil, 0, 0, false
}
