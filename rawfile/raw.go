package rawfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/metadata/ifd"
)

// decodeRaw fills f from a sensor data file.
func decodeRaw(ctx context.Context, f *Frame, data []byte) error {
	if err := tooSmall(f.Path, f.Info.Width, f.Info.Height, len(data)); err != nil {
		return err
	}
	l, err := openLibrary(data)
	if err != nil {
		return rawError(f, data, err)
	}
	defer l.close()
	if err := claimedTooMuch(f.Path, l.sensor(), len(data)); err != nil {
		return err
	}
	dirs, _ := ifd.Read(bytes.NewReader(data)) // none in formats not built on TIFF
	if err := missingData(f.Path, dirs, len(data)); err != nil {
		return err
	}
	dng := newDNGTags(dirs)
	pix, err := samplesOf(ctx, l, dng, data)
	if err != nil {
		return rawError(f, data, err)
	}
	s := l.sensor()
	s.singleChannel = s.singleChannel || pix != nil
	l.fillInfo(&f.Info, s)
	c := l.calibration()
	c.dng = dng.colours()
	f.Camera = camera(c)
	if s.isBayer() {
		s.patternY, s.patternX = dng.oddCorner()
		if err := decodeMosaic(ctx, f, l, s, pix); err != nil {
			return err
		}
		f.Mosaic.Noise, f.Mosaic.HasNoise = dng.noise()
		return nil
	}
	if pix != nil { // not after all a mosaic we can use
		if err := l.unpack(ctx); err != nil {
			return rawError(f, data, err)
		}
		s = l.sensor()
	}
	return decodeInterpolated(ctx, f, l, s)
}

// samplesOf unpacks the sensor's samples: with our own decoder, which returns them,
// where it knows the file, else inside LibRaw.
func samplesOf(ctx context.Context, l *library, dng dngTags, data []byte) ([]uint16, error) {
	if s := l.sensor(); s.filters > 1000 {
		if d := dng.packed(s); d != nil {
			pix, err := unpackTiles(ctx, data, d, s.rawW, s.rawH)
			if !errors.Is(err, errLJPEGOther) {
				return pix, err
			}
		}
	}
	return nil, l.unpack(ctx)
}

// decodeMosaic takes the sensor's own samples: pix, or LibRaw's when it is nil.
func decodeMosaic(ctx context.Context, f *Frame, l *library, s sensor, pix []uint16) error {
	src := pix
	if pix != nil {
		s.pitch = s.rawW
		defer samplePool.Put(&pix)
	} else {
		var err error
		if src, err = l.samples(s); err != nil {
			return damaged(f.Path, err.Error(), err)
		}
	}
	m, h, err := newMosaic(ctx, s, src)
	if err != nil {
		return err
	}
	if err := judge(f.Path, l, m, h); err != nil {
		return err
	}
	m.White = clippingLevel(h, m)
	f.Kind, f.Mosaic = KindMosaic, m
	f.Info.Width, f.Info.Height = m.W, m.H
	return nil
}

// decodeInterpolated takes what is no plain mosaic through LibRaw's interpolation.
func decodeInterpolated(ctx context.Context, f *Frame, l *library, s sensor) error {
	fourColours := s.colours > 3
	pix, w, h, err := l.interpolate(fourColours)
	if err != nil {
		return damaged(f.Path, err.Error(), err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	rgb := raster.GetRGB(w, h)
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := pix[4*w*y : 4*w*(y+1)]
			spread(row, rgb[0].Row(y), rgb[1].Row(y), rgb[2].Row(y), s.colours)
		}
	})
	if err == nil {
		err = judgeRGB(f.Path, l, rgb)
	}
	if err != nil {
		raster.PutRGB(rgb)
		return err
	}
	if fourColours {
		f.Camera = rec709Camera()
	}
	f.Kind, f.RGB = KindCameraRGB, rgb
	f.Info.Width, f.Info.Height = w, h
	return nil
}

// spread turns LibRaw's four interleaved samples into three planes of 0..1. A
// sensor without colour filters has one sample, which serves all three.
func spread(src []uint16, r, g, b []float32, colours int) {
	const k = 1.0 / 65535
	g, b = g[:len(r)], b[:len(r)]
	if colours < 3 {
		for x := range r {
			v := float32(src[4*x]) * k
			r[x], g[x], b[x] = v, v, v
		}
		return
	}
	for x := range r {
		p := src[4*x : 4*x+4 : 4*x+4]
		r[x], g[x], b[x] = float32(p[0])*k, float32(p[1])*k, float32(p[2])*k
	}
}

// rawError turns LibRaw's codes into what the photographer needs to know.
func rawError(f *Frame, data []byte, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var code libraryError
	errors.As(err, &code)
	switch {
	case code.tooBig():
		return damaged(f.Path, "its header claims a picture larger than any sensor's", err)
	case code.unsupported() && (f.Info.Model != "" || metadata.IsRawName(f.Path)):
		dirs, _ := ifd.Read(bytes.NewReader(data))
		if missing := missingData(f.Path, dirs, len(data)); missing != nil {
			return missing
		}
		what := "this raw format or camera"
		if f.Info.Model != "" {
			what = fmt.Sprintf("the camera %q", f.Info.Model)
		}
		return &metadata.FileError{
			Path:    f.Path,
			Problem: fmt.Sprintf("LibRaw %s does not know %s: the camera may be newer than the library, or the file damaged", Version(), what),
			Advice:  "update LibRaw, or convert the frame to DNG",
			Err:     err,
		}
	case code.unsupported():
		return &metadata.FileError{Path: f.Path, Problem: "this is not a camera file", Advice: "leave it out", Err: err}
	}
	return damaged(f.Path, err.Error(), err)
}
