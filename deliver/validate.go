package deliver

import (
	"bytes"
	"context"
	"fmt"
	"os"

	"mullion/imprint"
	"mullion/jpegfile"
	"mullion/metadata/ifd"
)

// Validate reads a delivered picture back and returns, in full sentences, what about
// it is not as the sheet and the rules of privacy ask: bytes, pixels, coding, profile,
// the metadata that must be there and that which must not. It trusts nothing of what
// was known while the file was written.
func (s Sheet) Validate(ctx context.Context, path string) ([]string, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("a delivered picture can't be read back: %w", err)
	}
	return s.validate(data), nil
}

func (s Sheet) validate(data []byte) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if s.File.MaxBytes > 0 && len(data) > s.File.MaxBytes {
		say("It has %d bytes and sheet %s allows %d.", len(data), s.Name, s.File.MaxBytes)
	}
	segments, _, err := jpegfile.Split(data)
	if err != nil {
		return append(out, "It can't be read: "+err.Error()+".")
	}
	if len(data) < 2 || data[len(data)-2] != 0xFF || data[len(data)-1] != 0xD9 {
		say("It does not end where a JPEG file ends.")
	}
	img, err := jpegfile.Decode(data, 0)
	if err != nil {
		return append(out, "Its pixels can't be decoded: "+err.Error()+".")
	}
	s.validateFrame(segments, img, say)
	validateSegments(segments, say)
	return out
}

// validateFrame judges size and coding.
func (s Sheet) validateFrame(segments []jpegfile.Segment, img *jpegfile.Image, say teller) {
	for _, l := range [][2]int{{s.Pixels.LongEdge, max(img.W, img.H)}, {s.Pixels.MaxWidth, img.W}, {s.Pixels.MaxHeight, img.H}} {
		if l[0] > 0 && l[1] > l[0] {
			say("It is %d x %d pixels and sheet %s allows %d.", img.W, img.H, s.Name, l[0])
			break
		}
	}
	if f := (Pixels{Ratio: s.Pixels.Ratio}).fit(img.W, img.H); abs(f.w-img.W) > 1 || abs(f.h-img.H) > 1 {
		say("It is %d x %d pixels, which is not %s.", img.W, img.H, s.Pixels.Ratio)
	}
	for _, g := range segments {
		switch {
		case g.Marker == jpegfile.SOF2 && !s.File.Progressive:
			say("It is progressive and sheet %s asks for baseline.", s.Name)
		case g.Marker == jpegfile.SOF0 || g.Marker == jpegfile.SOF2:
			if len(g.Payload) < 15 || g.Payload[0] != 8 || g.Payload[5] != 3 {
				say("It is not an 8-bit colour picture.")
			}
		}
	}
}

// validateSegments judges what the file says about itself.
func validateSegments(segments []jpegfile.Segment, say teller) {
	var profile, exif, xmp bool
	for _, g := range segments {
		switch {
		case g.Marker == jpegfile.APP2 && bytes.HasPrefix(g.Payload, []byte("ICC_PROFILE\x00")):
			profile = bytes.Equal(g.Payload, imprint.ProfileSegment().Payload)
		case g.Marker == jpegfile.APP1 && bytes.HasPrefix(g.Payload, []byte("Exif\x00\x00")):
			exif = true
			validateExif(g.Payload[6:], say)
		case g.Marker == jpegfile.APP1 && bytes.HasPrefix(g.Payload, []byte("http://ns.adobe.com/xap/1.0/\x00")):
			xmp = true
			if !bytes.Contains(g.Payload, []byte("digitalsourcetype/")) {
				say("Its XMP does not say how the picture came about (DigitalSourceType).")
			}
			for _, word := range []string{"exif:GPS", "SerialNumber", "OwnerName", "xmpMM:History", "xmp:Thumbnails"} {
				if bytes.Contains(g.Payload, []byte(word)) {
					say("Its XMP holds %s, which must not leave the house.", word)
				}
			}
		case g.Marker == jpegfile.APP0, g.Marker == jpegfile.APP13:
		case g.Marker >= 0xE0 && g.Marker <= 0xEF || g.Marker == 0xFE:
			say("It holds a segment that does not belong there (marker %02X).", g.Marker)
		}
	}
	if !profile {
		say("Its sRGB profile is missing or another one.")
	}
	if !exif || !xmp {
		say("Its Exif or XMP record is missing.")
	}
}

// private are the tags that tell more than a picture should (CIPA DC-008).
var private = map[uint16]string{
	0x8825: "a position (GPS)", 0x927C: "a maker's note", 0xA430: "the camera's owner", 0xA431: "the camera's serial number",
	0xA435: "the lens's serial number", 0xC62F: "the camera's serial number", 0x0201: "a thumbnail",
}

func validateExif(b []byte, say teller) {
	dirs, err := ifd.Read(bytes.NewReader(b))
	if err != nil {
		say("Its Exif record can't be read.")
		return
	}
	space := false
	for _, d := range dirs {
		for tag, what := range private {
			if _, ok := d.Find(tag); ok {
				say("Its Exif record holds %s, which must not leave the house.", what)
			}
		}
		if e, ok := d.Find(0xA001); ok {
			v, _ := e.Uint(0)
			space = v == 1
		}
	}
	if !space {
		say("Its Exif record does not say sRGB.")
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
