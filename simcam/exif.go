package simcam

import (
	"fmt"
	"math"
	"time"
)

const exifTime = "2006:01:02 15:04:05"

// orientation is the Exif orientation: 6 says that the picture is upright after
// a quarter turn clockwise.
func (f Frame) orientation() int {
	if f.Portrait {
		return 6
	}
	return 1
}

func (f Frame) tagISO() int {
	if f.TagISO > 0 {
		return f.TagISO
	}
	return f.ISO
}

// exif is the Exif directory (CIPA DC-008): what the camera says of a frame.
func (r *Raw) exif() ifd {
	c, f := r.Camera, r.Frame
	when, ms := f.Time.Format(exifTime), fmt.Sprintf("%03d", f.Time.Nanosecond()/int(time.Millisecond))
	d := ifd{}
	num, den := f.Shutter.Mark()
	d.fraction(33434, num, den)                                          // ExposureTime
	d.rationals(33437, tRational, 10, f.FNumber)                         // FNumber
	d.shorts(34850, 3)                                                   // ExposureProgram: aperture priority
	d.shorts(34855, f.tagISO())                                          // PhotographicSensitivity
	d.undefined(36864, "0232")                                           // ExifVersion
	d.text(36867, when)                                                  // DateTimeOriginal
	d.text(36868, when)                                                  // DateTimeDigitized
	d.text(36881, f.Time.Format("-07:00"))                               // OffsetTimeOriginal
	d.rationals(37377, tSRational, 100, -math.Log2(f.Shutter.Seconds())) // ShutterSpeedValue
	d.rationals(37378, tRational, 100, 2*math.Log2(f.FNumber))           // ApertureValue
	d.rationals(37380, tSRational, 10, f.Step)                           // ExposureBiasValue
	d.shorts(37383, 5)                                                   // MeteringMode: pattern
	d.shorts(37385, 16)                                                  // Flash: off
	d.rationals(37386, tRational, 10, f.FocalMM)                         // FocalLength
	d.text(37521, ms)                                                    // SubsecTimeOriginal
	d.text(37522, ms)                                                    // SubsecTimeDigitized
	d.shorts(41986, 2)                                                   // ExposureMode: auto bracket
	d.shorts(41987, 0)                                                   // WhiteBalance: auto
	d.shorts(41989, int(math.RoundToEven(f.FocalMM)))                    // FocalLengthIn35mmFilm
	d.text(42033, c.Serial)                                              // BodySerialNumber
	d.rationals(42034, tRational, 1, c.LensRange[:]...)                  // LensSpecification
	d.text(42036, c.Lens)                                                // LensModel
	if f.Manual {
		delete(d, 37380)
		d.shorts(34850, 1)
		d.shorts(41986, 1)
	}
	return d
}

// body adds what both kinds of file say in their first directory.
func (r *Raw) body(d ifd) {
	d.text(271, r.Camera.Make)
	d.text(272, r.Camera.Model)
	d.shorts(274, r.Frame.orientation())
	d.fraction(282, 300, 1)
	d.fraction(283, 300, 1)
	d.shorts(296, 2)
	d.text(305, r.Camera.Software)
	d.text(306, r.Frame.Time.Format(exifTime))
}
