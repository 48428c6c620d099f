package simcam

import (
	"fmt"
	"io"
)

// WriteDNG writes the frame as a DNG 1.4 file: a small preview in the first
// directory, the mosaic in a sub-directory, as lossless JPEG or as plain 16-bit
// samples.
func (r *Raw) WriteDNG(w io.Writer, uncompressed bool) error {
	data, compression := r.data(uncompressed)
	preview, pw, ph := r.preview(256)
	first, exif, sub := r.previewIFD(pw, ph), r.exif(), r.mosaicIFD(compression, len(data))

	// Sizes don't depend on the offsets, so the file is laid out first.
	exifAt := 8 + first.size()
	subAt := exifAt + exif.size()
	previewAt := subAt + sub.size()
	dataAt := previewAt + (len(preview)+15)&^15
	first.longs(273, previewAt)
	first.longs(330, subAt)
	first.longs(34665, exifAt)
	sub.longs(273, dataAt)

	out := make([]byte, 0, dataAt)
	out = first.append(tiffHeader(out), 8)
	out = exif.append(out, exifAt)
	out = sub.append(out, subAt)
	out = append(out, preview...)
	out = append(out, make([]byte, dataAt-len(out))...)
	if _, err := w.Write(out); err != nil {
		return fmt.Errorf("DNG: %w", err)
	}
	if _, err := w.Write(data); err != nil {
		return fmt.Errorf("DNG: %w", err)
	}
	return nil
}

func (r *Raw) data(uncompressed bool) (data []byte, compression int) {
	if !uncompressed {
		return losslessJPEG(r.Pix, r.W, r.H), 7
	}
	data = make([]byte, 0, 2*len(r.Pix))
	for _, v := range r.Pix {
		data = le.AppendUint16(data, v)
	}
	return data, 1
}

func (r *Raw) previewIFD(w, h int) ifd {
	c, d := r.Camera, ifd{}
	r.body(d)
	d.longs(254, 1) // NewSubfileType: reduced resolution
	d.longs(256, w)
	d.longs(257, h)
	d.shorts(258, 8, 8, 8)
	d.shorts(259, 1)
	d.shorts(262, 2) // RGB
	d.longs(273, 0)  // StripOffsets, filled in later
	d.shorts(277, 3)
	d.longs(278, h)
	d.longs(279, 3*w*h)
	d.shorts(284, 1)
	d.longs(330, 0)            // SubIFDs, filled in later
	d.longs(34665, 0)          // Exif, filled in later
	d.bytes(50706, 1, 4, 0, 0) // DNGVersion
	d.bytes(50707, 1, 1, 0, 0) // DNGBackwardVersion
	d.text(50708, c.Make+" "+c.Model)
	m := c.Matrix
	d.rationals(50721, tSRational, 10000, m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2])
	d.shorts(50778, 21) // CalibrationIlluminant1: D65
	d.rationals(50728, tRational, 1000000, r.Frame.Neutral[:]...)
	d.rationals(50730, tSRational, 100, 0) // BaselineExposure
	d.fraction(50731, 1, 1)                // BaselineNoise
	d.fraction(50732, 1, 1)                // BaselineSharpness
	d.fraction(50734, 1, 1)                // LinearResponseLimit
	d.text(50735, c.Serial)
	return d
}

func (r *Raw) mosaicIFD(compression, length int) ifd {
	c, d := r.Camera, ifd{}
	d.longs(254, 0)
	d.longs(256, r.W)
	d.longs(257, r.H)
	d.shorts(258, 16)
	d.shorts(259, compression)
	d.shorts(262, 32803) // colour filter array
	d.longs(273, 0)      // filled in later
	d.shorts(277, 1)
	d.longs(278, r.H)
	d.longs(279, length)
	d.shorts(284, 1)
	d.shorts(33421, 2, 2)
	d.bytes(33422, 0, 1, 1, 2) // RGGB
	d.bytes(50710, 0, 1, 2)
	d.shorts(50711, 1)
	d.shorts(50713, 1, 1)
	d.shorts(50714, c.Black)
	d.longs(50717, c.White)
	d.rationals(50718, tRational, 1, 1, 1) // DefaultScale
	d.longs(50719, 0, 0)                   // DefaultCropOrigin
	d.longs(50720, r.W, r.H)               // DefaultCropSize
	d.longs(50829, 0, 0, r.H, r.W)         // ActiveArea
	s, o := c.NoiseProfile(float64(r.Frame.ISO))
	d.doubles(51041, s, o)
	if c.OpcodeList3 != nil {
		d.undefined(51022, string(c.OpcodeList3))
	}
	return d
}
