package jpegfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// Markers of the segments this program writes or looks for (ITU-T T.81, table B.1).
const (
	APP0  = 0xE0 // JFIF
	APP1  = 0xE1 // Exif, XMP
	APP2  = 0xE2 // ICC profile
	APP13 = 0xED // IIM
	SOF0  = 0xC0 // baseline frame
	SOF2  = 0xC2 // progressive frame

	markerSOI = 0xD8
	markerEOI = 0xD9
	markerSOS = 0xDA
)

// MaxPayload is the most a segment's payload can hold.
const MaxPayload = 65533

// Segment is one marker segment ahead of the coded pixels. Payload leaves out
// the marker and the length.
type Segment struct {
	Marker  byte
	Payload []byte
}

// Split takes a file apart into its segments ahead of the first scan and the
// rest, which starts at the scan's marker. The payloads share memory with data.
func Split(data []byte) (segments []Segment, rest []byte, err error) {
	if len(data) < 4 || data[0] != 0xFF || data[1] != markerSOI {
		return nil, nil, errors.New("jpegfile: not a JPEG file (it does not start with FF D8)")
	}
	p := data[2:]
	for {
		at := len(data) - len(p)
		if len(p) < 2 || p[0] != 0xFF {
			return nil, nil, fmt.Errorf("jpegfile: damaged: no marker at byte %d", at)
		}
		if p[1] == 0xFF { // fill byte
			p = p[1:]
			continue
		}
		marker := p[1]
		if marker == markerSOS {
			return segments, p, nil
		}
		if marker == markerEOI {
			return nil, nil, errors.New("jpegfile: damaged: the file ends before its pixels")
		}
		if marker == 0x01 || marker >= 0xD0 && marker <= 0xD8 || marker == 0 {
			return nil, nil, fmt.Errorf("jpegfile: damaged: marker %02X at byte %d does not belong there", marker, at)
		}
		if len(p) < 4 {
			return nil, nil, fmt.Errorf("jpegfile: damaged: cut off in the segment at byte %d", at)
		}
		n := int(binary.BigEndian.Uint16(p[2:]))
		if n < 2 || 2+n > len(p) {
			return nil, nil, fmt.Errorf("jpegfile: damaged: the segment at byte %d is longer than the file", at)
		}
		segments = append(segments, Segment{marker, p[4 : 2+n]})
		p = p[2+n:]
	}
}

// Join is the inverse of Split.
func Join(segments []Segment, rest []byte) ([]byte, error) {
	n := 2 + len(rest)
	for _, s := range segments {
		if len(s.Payload) > MaxPayload {
			return nil, fmt.Errorf("jpegfile: a segment of %d bytes; %d is the most", len(s.Payload), MaxPayload)
		}
		n += 4 + len(s.Payload)
	}
	out := append(make([]byte, 0, n), 0xFF, markerSOI)
	for _, s := range segments {
		out = append(out, 0xFF, s.Marker)
		out = binary.BigEndian.AppendUint16(out, uint16(len(s.Payload)+2))
		out = append(out, s.Payload...)
	}
	return append(out, rest...), nil
}

// Splice returns the file with the given segments behind its JFIF segment, ahead
// of its tables, and every application segment and comment it had before taken out.
func Splice(data []byte, add []Segment) ([]byte, error) {
	had, rest, err := Split(data)
	if err != nil {
		return nil, err
	}
	var all []Segment
	for _, s := range had {
		if s.Marker == APP0 && bytes.HasPrefix(s.Payload, []byte("JFIF\x00")) {
			all = append(all, s)
			break
		}
	}
	all = append(all, add...)
	for _, s := range had {
		if s.Marker < 0xE0 || s.Marker > 0xEF && s.Marker != 0xFE {
			all = append(all, s)
		}
	}
	return Join(all, rest)
}

// Overhead is how many bytes the segments add to a file.
func Overhead(add []Segment) int {
	n := 0
	for _, s := range add {
		n += 4 + len(s.Payload)
	}
	return n
}
