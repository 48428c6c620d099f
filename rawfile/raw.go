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

// unpackRaw takes the samples and their meaning out of a sensor data file. u has the
// path and what the tags say.
func unpackRaw(ctx context.Context, u *unpacked, data []byte) error {
	if err := tooSmall(u.path, u.Info.Width, u.Info.Height, len(data)); err != nil {
		return err
	}
	l, err := openLibrary(data)
	if err != nil {
		return rawError(u, data, err)
	}
	defer l.close()
	if err := claimedTooMuch(u.path, l.sensor(), len(data)); err != nil {
		return err
	}
	dirs, _ := ifd.Read(bytes.NewReader(data)) // none in formats not built on TIFF
	if err := missingData(u.path, dirs, len(data)); err != nil {
		return err
	}
	dng := newDNGTags(dirs)
	pix, err := samplesOf(ctx, l, dng, data)
	if err != nil {
		return rawError(u, data, err)
	}
	s := l.sensor()
	s.singleChannel = s.singleChannel || pix != nil
	l.fillInfo(&u.Info, s)
	c := l.calibration()
	c.dng = dng.colours()
	u.Camera = camera(c)
	if s.isBayer() {
		s.patternY, s.patternX = dng.oddCorner()
		if err := unpackMosaic(ctx, u, l, s, pix); err != nil {
			return err
		}
		u.Mosaic.Noise, u.Mosaic.HasNoise = dng.noise()
		return nil
	}
	if pix != nil { // not after all a mosaic we can use
		if err := l.unpack(ctx); err != nil {
			return rawError(u, data, err)
		}
		s = l.sensor()
	}
	return unpackInterpolated(ctx, u, l, s)
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

// unpackMosaic takes the sensor's own samples: pix, or LibRaw's when it is nil.
func unpackMosaic(ctx context.Context, u *unpacked, l *library, s sensor, pix []uint16) error {
	src := pix
	if pix != nil {
		s.pitch = s.rawW
		defer raster.PutWords(pix)
	} else {
		var err error
		if src, err = l.samples(s); err != nil {
			return damaged(u.path, err.Error(), err)
		}
	}
	into, err := wordRoom(s.w * s.h)
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	m, h, err := newMosaic(ctx, s, src, into)
	if err != nil {
		return err
	}
	if err := judge(u.path, l, m, h); err != nil {
		return err
	}
	m.White = clippingLevel(h, m)
	u.Form, u.W, u.H, u.words = formMosaic, m.W, m.H, m.Pix
	u.Mosaic = *m
	u.Mosaic.Pix = nil
	return nil
}

// unpackInterpolated takes what is no plain mosaic through LibRaw's interpolation.
func unpackInterpolated(ctx context.Context, u *unpacked, l *library, s sensor) error {
	fourColours := s.colours > 3
	pix, w, h, err := l.interpolate(fourColours)
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	into, err := wordRoom(3 * w * h)
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			three(into[3*w*y:3*w*(y+1)], pix[4*w*y:4*w*(y+1)], s.colours)
		}
	})
	if err != nil {
		return err
	}
	if err := judgeWords(u.path, l, into, w, h); err != nil {
		return err
	}
	if fourColours {
		u.Camera = rec709Camera()
	}
	u.Form, u.W, u.H, u.words = formWords, w, h, into
	return nil
}

// three takes the colours out of LibRaw's four interleaved samples. A sensor without
// colour filters has one sample, which serves all three.
func three(dst, src []uint16, colours int) {
	for len(dst) >= 3 && len(src) >= 4 {
		if colours < 3 {
			dst[0], dst[1], dst[2] = src[0], src[0], src[0]
		} else {
			dst[0], dst[1], dst[2] = src[0], src[1], src[2]
		}
		dst, src = dst[3:], src[4:]
	}
}

// rawError turns LibRaw's codes into what the photographer needs to know.
func rawError(u *unpacked, data []byte, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var code libraryError
	errors.As(err, &code)
	switch {
	case code.tooBig():
		return damaged(u.path, "its header claims a picture larger than any sensor's", err)
	case code.unsupported() && (u.Info.Model != "" || metadata.IsRawName(u.path)):
		dirs, _ := ifd.Read(bytes.NewReader(data))
		if missing := missingData(u.path, dirs, len(data)); missing != nil {
			return missing
		}
		what := "this raw format or camera"
		if u.Info.Model != "" {
			what = fmt.Sprintf("the camera %q", u.Info.Model)
		}
		return &metadata.FileError{
			Path:    u.path,
			Problem: fmt.Sprintf("LibRaw %s does not know %s: the camera may be newer than the library, or the file damaged", Version(), what),
			Advice:  "update LibRaw, or convert the frame to DNG",
			Err:     err,
		}
	case code.unsupported():
		return &metadata.FileError{Path: u.path, Problem: "this is not a camera file", Advice: "leave it out", Err: err}
	}
	return damaged(u.path, err.Error(), err)
}
