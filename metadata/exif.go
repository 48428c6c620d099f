package metadata

import (
	"math"
	"strings"
	"time"

	"mullion/metadata/ifd"
)

// Tags of CIPA DC-008 (Exif 2.32), TIFF 6.0 and the DNG specification.
const (
	tagWidth           = 0x0100
	tagHeight          = 0x0101
	tagMake            = 0x010F
	tagModel           = 0x0110
	tagOrientation     = 0x0112
	tagDateTime        = 0x0132
	tagExposureTime    = 0x829A
	tagFNumber         = 0x829D
	tagISO             = 0x8827
	tagRecommendedISO  = 0x8832
	tagISOSpeed        = 0x8833
	tagOriginal        = 0x9003
	tagDigitized       = 0x9004
	tagOffset          = 0x9010
	tagOffsetOriginal  = 0x9011
	tagOffsetDigitized = 0x9012
	tagShutter         = 0x9201
	tagAperture        = 0x9202
	tagBias            = 0x9204
	tagFocal           = 0x920A
	tagSubSec          = 0x9290
	tagSubSecOriginal  = 0x9291
	tagSubSecDigitized = 0x9292
	tagPixelX          = 0xA002
	tagPixelY          = 0xA003
	tagPlaneX          = 0xA20E
	tagPlaneY          = 0xA20F
	tagPlaneUnit       = 0xA210
	tagMode            = 0xA402
	tagFocal35         = 0xA405
	tagLensModel       = 0xA434
	tagUniqueModel     = 0xC614
	tagCropSize        = 0xC620
)

// tags looks values up across a file's directories.
type tags []ifd.Dir

// find returns a tag from the first directory that has it, the Exif directory and
// the main ones before the others.
func (t tags) find(tag uint16) (ifd.Entry, bool) {
	for _, kind := range []ifd.Kind{ifd.Exif, ifd.Main, ifd.Sub} {
		for i := range t {
			if t[i].Kind != kind {
				continue
			}
			if e, ok := t[i].Find(tag); ok {
				return e, true
			}
		}
	}
	return ifd.Entry{}, false
}

func (t tags) text(tag uint16) string {
	e, _ := t.find(tag)
	return e.Text()
}

func (t tags) number(tag uint16) (float64, bool) {
	e, ok := t.find(tag)
	if !ok {
		return 0, false
	}
	return e.Float(0)
}

// positive is number for values whose zero means unknown.
func (t tags) positive(tag uint16) float64 {
	v, _ := t.number(tag)
	if v <= 0 {
		return 0
	}
	return v
}

// fill puts what the directories say into info, over what is there.
func (t tags) fill(info *Info) {
	info.Make, info.Model = t.text(tagMake), t.text(tagModel)
	if info.Model == "" {
		info.Model = t.text(tagUniqueModel)
	}
	info.Lens = t.text(tagLensModel)
	t.exposure(info)
	info.FocalMM = t.positive(tagFocal)
	info.Focal35MM = t.positive(tagFocal35)
	info.SensorMM = t.sensor()
	if v, ok := t.number(tagOrientation); ok && v >= 1 && v <= 8 {
		info.Orientation = int(v)
	}
	t.time(info)
	if info.Width == 0 {
		info.Width, info.Height = t.size()
	}
}

// sensor returns the diagonal of the sensor in mm: the size of the picture as the
// camera stored it over its pixels a unit of length; 0 when the file doesn't say or
// says what no camera has.
func (t tags) sensor() float64 {
	rx, ry := t.positive(tagPlaneX), t.positive(tagPlaneY)
	w, h := t.positive(tagPixelX), t.positive(tagPixelY)
	if ry == 0 {
		ry = rx
	}
	if rx == 0 || w == 0 || h == 0 {
		return 0
	}
	unit := map[float64]float64{0: 25.4, 2: 25.4, 3: 10, 4: 1, 5: 0.001}[t.positive(tagPlaneUnit)]
	d := unit * math.Hypot(w/rx, h/ry)
	if !(d > 4 && d < 90) {
		return 0
	}
	return d
}

func (t tags) exposure(info *Info) {
	// A time beyond a day or below a microsecond is a broken tag.
	if v := t.positive(tagExposureTime); v > 1e-6 && v < 86400 {
		info.Marked = v
	}
	tv, hasTv := t.number(tagShutter)
	hasTv = hasTv && math.Abs(tv) < 17 && tv != 0 || hasTv && info.Marked > 0
	info.Seconds = secondsFrom(info.Marked, tv, hasTv)
	if v := t.positive(tagFNumber); v >= 0.5 && v < 200 {
		info.FNumber = TrueFNumber(v)
	} else if av := t.positive(tagAperture); av > 0 && av < 15 {
		info.FNumber = math.Exp2(av / 2)
	}
	info.ISO = t.iso()
	if v, ok := t.number(tagBias); ok && math.Abs(v) < 30 {
		info.Bias, info.HasBias = v, true
	}
	info.Mode = ModeUnknown
	if v, ok := t.number(tagMode); ok && v >= 0 && v <= 2 {
		info.Mode = Mode(v)
	}
}

// iso reads the sensitivity. The 16-bit tag is full at 65535 and points to the
// wider ones of Exif 2.3.
func (t tags) iso() float64 {
	v := t.positive(tagISO)
	if v > 0 && v < 65535 {
		return v
	}
	for _, tag := range []uint16{tagRecommendedISO, tagISOSpeed} {
		if w := t.positive(tag); w > 0 {
			return w
		}
	}
	return v
}

// size returns the largest picture the directories describe: a raw file's sensor
// picture sits beside its previews. DNG's DefaultCropSize wins.
func (t tags) size() (w, h int) {
	for i := range t {
		if e, ok := t[i].Find(tagCropSize); ok {
			cw, ok1 := e.Float(0)
			ch, ok2 := e.Float(1)
			if ok1 && ok2 && plausible(cw, ch) {
				return int(cw), int(ch)
			}
		}
		for _, pair := range [][2]uint16{{tagWidth, tagHeight}, {tagPixelX, tagPixelY}} {
			ew, ok1 := t[i].Find(pair[0])
			eh, ok2 := t[i].Find(pair[1])
			if !ok1 || !ok2 {
				continue
			}
			fw, _ := ew.Float(0)
			fh, _ := eh.Float(0)
			if plausible(fw, fh) && int(fw)*int(fh) > w*h {
				w, h = int(fw), int(fh)
			}
		}
	}
	return w, h
}

func plausible(w, h float64) bool { return w >= 1 && h >= 1 && w < 1e6 && h < 1e6 }

// time reads the capture time: DateTimeOriginal, else the time of digitising,
// else that of the file, each with its own sub-seconds and zone.
func (t tags) time(info *Info) {
	for _, k := range [][3]uint16{
		{tagOriginal, tagSubSecOriginal, tagOffsetOriginal},
		{tagDigitized, tagSubSecDigitized, tagOffsetDigitized},
		{tagDateTime, tagSubSec, tagOffset},
	} {
		zone := t.text(k[2])
		if zone == "" {
			zone = t.text(tagOffset)
		}
		if when, hasZone, ok := parseTime(t.text(k[0]), t.text(k[1]), zone); ok {
			info.Time, info.HasZone = when, hasZone
			return
		}
	}
}

// parseTime joins Exif's three strings: "2026:05:14 10:42:07", the digits after
// the decimal point ("05" is 0.05 s), and "-05:00".
func parseTime(date, sub, zone string) (when time.Time, hasZone, ok bool) {
	if len(date) < 19 {
		return when, false, false
	}
	loc := time.UTC
	if z, err := time.Parse("-07:00", zone); err == nil {
		_, secs := z.Zone()
		loc, hasZone = time.FixedZone("", secs), true
	}
	date = strings.NewReplacer("-", ":", "/", ":", "T", " ").Replace(date[:19])
	when, err := time.ParseInLocation("2006:01:02 15:04:05", date, loc)
	if err != nil || when.Year() < 1900 {
		return time.Time{}, false, false
	}
	return when.Add(subSeconds(sub)), hasZone, true
}

// subSeconds reads a decimal fraction's digits, as many as there are.
func subSeconds(s string) time.Duration {
	unit, sum := 100*time.Millisecond, time.Duration(0)
	for _, c := range s {
		if c < '0' || c > '9' || unit == 0 {
			break
		}
		sum += time.Duration(c-'0') * unit
		unit /= 10
	}
	return sum
}
