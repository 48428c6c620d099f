// Package metadata reads what a camera wrote about a frame: exposure, time,
// orientation, camera and lens. It never decodes pixels, so a card of two
// thousand frames is read in seconds.
package metadata

import (
	"math"
	"time"
)

// Mode is the Exif ExposureMode (CIPA DC-008, tag A402).
type Mode int

// The exposure modes of the standard; ModeUnknown when the file does not say.
const (
	ModeUnknown Mode = iota - 1
	ModeAuto
	ModeManual
	ModeBracket
)

// Info is what the camera wrote about one frame. A zero number means the file
// does not say.
type Info struct {
	Make, Model, Lens string

	Seconds float64 // true exposure time in s: the marked speed snapped to its power of 2^(1/3)
	Marked  float64 // exposure time in s as written in the file
	ISO     float64
	FNumber float64 // true f-number (2^(k/6) where the mark is one of the engraved series)
	Bias    float64 // exposure bias in EV
	HasBias bool
	Mode    Mode

	FocalMM   float64 // focal length in mm
	Focal35MM float64 // 35 mm equivalent in mm, 0 when unknown
	SensorMM  float64 // diagonal of the sensor in mm as the file's focal plane resolution gives it; a file that was resized may say too little

	Optics Optics // the maker's own correction of the lens, where the file has one

	Time    time.Time // capture time with sub-seconds; its zone is the camera's when the file gives one, else UTC
	HasZone bool

	Orientation   int // Exif orientation 1-8; 1 when unknown
	Width, Height int // stored pixels, before orientation; 0 when unknown
}

// Exposure returns log2(t * S / (100 * N^2)): the exposure in EV, more is
// brighter, and false when the exposure time is unknown. A missing ISO counts as
// 100 and a missing f-number as 1, which cancels within a bracket.
func (i Info) Exposure() (ev float64, ok bool) {
	if i.Seconds <= 0 {
		return 0, false
	}
	iso, n := i.ISO, i.FNumber
	if iso <= 0 {
		iso = 100
	}
	if n <= 0 {
		n = 1
	}
	return math.Log2(i.Seconds * iso / (100 * n * n)), true
}
