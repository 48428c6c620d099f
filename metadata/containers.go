package metadata

import (
	"bytes"
	"encoding/binary"
	"image/png"
	"io"

	"github.com/bep/imagemeta"

	"mullion/metadata/ifd"
)

// tagPreviewJPEG is where RW2 files keep a camera JPEG with the whole Exif data.
const tagPreviewJPEG = 0x002E

// readTIFF reads TIFF and the raw formats built on it.
func readTIFF(r io.ReaderAt, size int64, info *Info) {
	dirs, err := ifd.Read(r)
	if err != nil {
		return
	}
	t := tags(dirs)
	t.fill(info)
	info.Optics = t.optics()
	if e, ok := t.find(tagPreviewJPEG); ok && e.Offset > 0 && e.Offset < size {
		readPanasonic(io.NewSectionReader(r, e.Offset, min(int64(e.Count), size-e.Offset)), t, info)
	}
}

// readPanasonic takes the tags from the preview inside an RW2 file, which has all
// of them, and the size from the borders of the sensor's active area.
func readPanasonic(preview *io.SectionReader, t tags, info *Info) {
	full := Info{Orientation: 1, Mode: ModeUnknown}
	if readJPEG(preview, &full); full.Marked > 0 {
		*info = full
	}
	top, _ := t.number(4)
	left, _ := t.number(5)
	bottom, _ := t.number(6)
	right, _ := t.number(7)
	info.Width, info.Height = 0, 0
	if plausible(right-left, bottom-top) {
		info.Width, info.Height = int(right-left), int(bottom-top)
	}
}

// readFuji reads the RAF container: its header points to a camera JPEG whose Exif
// data describe the frame.
func readFuji(r io.ReaderAt, size int64, info *Info) {
	var b [8]byte
	if _, err := r.ReadAt(b[:], 84); err != nil {
		return
	}
	off, n := int64(binary.BigEndian.Uint32(b[:])), int64(binary.BigEndian.Uint32(b[4:]))
	if off <= 0 || off >= size {
		return
	}
	readJPEG(io.NewSectionReader(r, off, min(n, size-off)), info)
	info.Width, info.Height = 0, 0 // those are the preview's
}

func readPNG(r io.ReaderAt, size int64, info *Info) {
	if c, err := png.DecodeConfig(io.NewSectionReader(r, 0, size)); err == nil {
		info.Width, info.Height = c.Width, c.Height
	}
}

// readHEIF reads HEIC. The Exif item is found by its signature rather than through
// the container's item tables: no writer puts that signature anywhere else. The
// size comes from the container.
func readHEIF(r io.ReaderAt, size int64, info *Info) {
	for _, head := range []string{"Exif\x00\x00II*\x00", "Exif\x00\x00MM\x00*"} {
		if at := index(r, size, head); at >= 0 {
			if dirs, err := ifd.Read(io.NewSectionReader(r, at+6, size-at-6)); err == nil {
				tags(dirs).fill(info)
				break
			}
		}
	}
	// The container itself says how its picture is turned, and decoders turn it: the
	// Exif value is a copy for information (ISO/IEC 23008-12, 6.5.10 and annex A).
	info.Orientation = 1
	res, err := imagemeta.Decode(imagemeta.Options{
		R:           io.NewSectionReader(r, 0, size),
		ImageFormat: imagemeta.HEIF,
		Sources:     imagemeta.CONFIG,
	})
	if err == nil && res.ImageConfig.Width > 0 {
		info.Width, info.Height = res.ImageConfig.Width, res.ImageConfig.Height
	}
}

// readCR3 reads the raw format built on ISO base media: its boxes CMT1 and CMT2
// each hold a TIFF with the main and the Exif directory.
func readCR3(r io.ReaderAt, size int64, info *Info) {
	size = min(size, 1<<20) // both lie in the movie header, which comes first
	var t tags
	for _, box := range []string{"CMT1", "CMT2"} {
		for _, order := range []string{"II*\x00", "MM\x00*"} {
			if at := index(r, size, box+order); at >= 0 {
				dirs, _ := ifd.Read(io.NewSectionReader(r, at+4, size-at-4))
				t = append(t, dirs...)
			}
		}
	}
	t.fill(info)
}

// index returns the offset of the first occurrence of s, -1 without one.
func index(r io.ReaderAt, size int64, s string) int64 {
	const block = 256 << 10
	buf := make([]byte, block)
	for at := int64(0); at < size; at += int64(block - len(s) + 1) {
		n, err := r.ReadAt(buf, at)
		if i := bytes.Index(buf[:n], []byte(s)); i >= 0 && at+int64(i+len(s)) <= size {
			return at + int64(i)
		}
		if err != nil {
			return -1
		}
	}
	return -1
}
