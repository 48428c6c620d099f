// Package tifffile writes radiance as a 32-bit float TIFF, the plainest container
// that other programs read without losing range.
//
// The layout is baseline TIFF 6.0 (Adobe, 1992) with SampleFormat 3 (section 19):
// little-endian, chunky RGB, uncompressed strips, and an ICC profile so that a
// reader knows the primaries.
package tifffile

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"mullion/internal/raster"
)

// Header says what the numbers in the file mean.
type Header struct {
	Description string // ImageDescription: the unit, in words
	Software    string
	Profile     []byte // ICC profile; none is written when empty
}

const (
	typeASCII = 2
	typeShort = 3
	typeLong  = 4
	typeUndef = 7
)

// stripRows is how many rows share a strip. Readers hold a strip at a time.
const stripRows = 64

// Write writes three planes of any range to path as a 32-bit float TIFF. The file
// appears under its name only when it is complete. A picture that would not fit
// into TIFF's 4 GiB is refused.
func Write(ctx context.Context, path string, m *raster.RGB, h Header) error {
	if size := int64(m.W()) * int64(m.H()) * 12; size > math.MaxUint32-1<<20 {
		return fmt.Errorf("%s: %d x %d pixels of 12 bytes do not fit into a TIFF file", path, m.W(), m.H())
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".partial-*")
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	defer os.Remove(f.Name()) // fails quietly once renamed
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	if err := encode(ctx, w, m, h); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := f.Chmod(0o644); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return os.Rename(f.Name(), path)
}

type entry struct {
	tag, kind uint16
	count     uint32
	value     []byte // little-endian
}

func encode(ctx context.Context, w io.Writer, m *raster.RGB, h Header) error {
	head := directory(m.W(), m.H(), h)
	if _, err := w.Write(head); err != nil {
		return err
	}
	row := make([]byte, m.W()*12)
	for y := range m.H() {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, g, b := m[0].Row(y), m[1].Row(y), m[2].Row(y)
		for x := range r {
			o := row[12*x : 12*x+12]
			binary.LittleEndian.PutUint32(o, math.Float32bits(r[x]))
			binary.LittleEndian.PutUint32(o[4:], math.Float32bits(g[x]))
			binary.LittleEndian.PutUint32(o[8:], math.Float32bits(b[x]))
		}
		if _, err := w.Write(row); err != nil {
			return err
		}
	}
	return nil
}

// directory returns everything before the pixels: header, tags and their values.
func directory(w, h int, head Header) []byte {
	strips := (h + stripRows - 1) / stripRows
	offsets, counts := make([]uint32, strips), make([]uint32, strips)
	entries := []entry{
		long(256, uint32(w)), long(257, uint32(h)), // ImageWidth, ImageLength
		short(258, 32, 32, 32),         // BitsPerSample
		short(259, 1),                  // Compression: none
		short(262, 2),                  // PhotometricInterpretation: RGB
		ascii(270, head.Description),   // ImageDescription
		long(273, offsets...),          // StripOffsets, filled in below
		short(274, 1),                  // Orientation: as seen
		short(277, 3),                  // SamplesPerPixel
		long(278, stripRows),           // RowsPerStrip
		long(279, counts...),           // StripByteCounts, filled in below
		short(284, 1),                  // PlanarConfiguration: chunky
		ascii(305, head.Software),      // Software
		short(339, 3, 3, 3),            // SampleFormat: IEEE float
		undefined(34675, head.Profile), // ICC profile (ICC.1 annex B.4)
	}
	entries = keepFilled(entries)
	size := 8 + 2 + 12*len(entries) + 4
	for _, e := range entries {
		size += outside(e)
	}
	for i := range offsets {
		rows := min(stripRows, h-i*stripRows)
		offsets[i] = uint32(size + i*stripRows*w*12)
		counts[i] = uint32(rows * w * 12)
	}
	for i, e := range entries {
		switch e.tag {
		case 273:
			entries[i] = long(273, offsets...)
		case 279:
			entries[i] = long(279, counts...)
		}
	}
	return layOut(entries, size)
}

func layOut(entries []entry, size int) []byte {
	out := make([]byte, 0, size)
	le := binary.LittleEndian
	out = append(out, 'I', 'I', 42, 0)
	out = le.AppendUint32(out, 8)
	out = le.AppendUint16(out, uint16(len(entries)))
	next := uint32(8 + 2 + 12*len(entries) + 4)
	var tail []byte
	for _, e := range entries {
		out = le.AppendUint16(out, e.tag)
		out = le.AppendUint16(out, e.kind)
		out = le.AppendUint32(out, e.count)
		if len(e.value) <= 4 {
			out = append(out, append(e.value[:len(e.value):len(e.value)], 0, 0, 0, 0)[:4]...)
			continue
		}
		out = le.AppendUint32(out, next+uint32(len(tail)))
		tail = append(tail, e.value...)
		if len(e.value)&1 == 1 {
			tail = append(tail, 0) // values start on even bytes
		}
	}
	out = le.AppendUint32(out, 0) // no further directory
	return append(out, tail...)
}

// outside is how many bytes of a value lie outside the directory.
func outside(e entry) int {
	if len(e.value) <= 4 {
		return 0
	}
	return (len(e.value) + 1) &^ 1
}

func keepFilled(in []entry) []entry {
	var out []entry
	for _, e := range in {
		if e.count > 0 {
			out = append(out, e)
		}
	}
	return out
}

func short(tag uint16, v ...uint16) entry {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint16(b, x)
	}
	return entry{tag, typeShort, uint32(len(v)), b}
}

func long(tag uint16, v ...uint32) entry {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, x)
	}
	return entry{tag, typeLong, uint32(len(v)), b}
}

func ascii(tag uint16, s string) entry {
	if s == "" {
		return entry{}
	}
	return entry{tag, typeASCII, uint32(len(s) + 1), append([]byte(s), 0)}
}

func undefined(tag uint16, b []byte) entry { return entry{tag, typeUndef, uint32(len(b)), b} }
