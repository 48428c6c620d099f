package plumb

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
	"mullion/lens"
	"mullion/metadata"
	"mullion/rawfile"
)

// analysisEdge is the long edge at which lines are looked for: fine enough for a
// tenth of a degree, coarse enough that noise has no lines in it.
const analysisEdge = 1800

// MeasureFile measures the picture at path, a raw file or a rendered one. The
// view it returns has the picture's upright size and what the file says about
// the lens. What known has set (focal length, profile, centre) goes before what
// the file says.
func MeasureFile(ctx context.Context, path string, known View) (Pose, View, error) {
	f, err := rawfile.Decode(ctx, path)
	if err != nil {
		return Pose{}, View{}, err
	}
	defer f.Release()
	luma, w, h, err := frameLuma(ctx, f)
	if err != nil {
		return Pose{}, View{}, fmt.Errorf("%s: %w", path, err)
	}
	up := upright(luma, f.Info.Orientation)
	if up != luma {
		raster.Put(luma)
	}
	defer raster.Put(up)
	if f.Info.Orientation >= 5 && f.Info.Orientation <= 8 {
		w, h = h, w
	}
	v := Look(f.Info, w, h)
	if known.FocalPx > 0 {
		v.FocalPx = known.FocalPx
	}
	if known.Profile != nil {
		v.Profile = known.Profile
	}
	if known.Centre != nil {
		v.Centre = known.Centre
	}
	v.LooseAxis = known.LooseAxis
	p, err := Measure(ctx, up, v)
	return p, v, err
}

// Look returns the view of an upright picture of w x h pixels as far as its file
// and the lens database know it.
func Look(info metadata.Info, w, h int) View {
	v := View{W: w, H: h, FocalPx: FocalPx(w, h, equivalent(info)), Setting: setting(info, w, h)}
	sw, sh := w, h
	if info.Orientation >= 5 && info.Orientation <= 8 {
		sw, sh = h, w
	}
	if v.Profile = lens.OfFile(info.Optics, sw, sh); v.Profile == nil {
		v.Profile, _ = lens.Find(lens.Query{Make: info.Make, Model: info.Model, Lens: info.Lens,
			FocalMM: info.FocalMM, FNumber: info.FNumber})
		if v.Profile != nil && info.Optics.Gains != nil {
			v.Profile.Falloff = lens.Unity // the file's gain maps take it out
		}
	}
	v.Centre = axis(v.Profile, info.Orientation, w, h)
	return v
}

// equivalent returns the 35 mm equivalent of the focal length in mm, 0 when unknown.
// The tag holds whole millimetres, and of a wide lens one is some per cent; the
// camera's crop factor is better where both agree. They don't when only a part of the
// sensor is used, and then the tag is right.
func equivalent(info metadata.Info) float64 {
	exact := info.FocalMM * lens.CropFactor(info.Make, info.Model)
	switch {
	case info.Focal35MM > 0 && math.Abs(exact-info.Focal35MM) > 1:
		return info.Focal35MM
	case exact > 0:
		return exact
	case info.SensorMM > 0:
		// Files that were made smaller often keep the resolution of the large one and
		// seem to come from a tiny sensor; rooms aren't taken with a long lens.
		if mm := info.FocalMM * math.Hypot(36, 24) / info.SensorMM; mm < 85 {
			return mm
		}
	}
	return 0
}

// axis returns where the optical axis meets the upright picture of w x h pixels; nil
// when that is the middle.
func axis(p *lens.Profile, orientation, w, h int) *Centre {
	if p == nil || p.CentreX == 0 && p.CentreY == 0 {
		return nil
	}
	half := math.Hypot(float64(w), float64(h)) / 2
	sw, sh := float64(w), float64(h)
	if orientation >= 5 {
		sw, sh = sh, sw
	}
	x, y := seen(orientation, w, h)(sw/2+p.CentreX*half, sh/2+p.CentreY*half)
	return &Centre{x, y}
}

// setting names the camera, the lens, its focal length and the part of the sensor
// that is used, however the camera was turned.
func setting(info metadata.Info, w, h int) string {
	mm := info.FocalMM
	if mm == 0 {
		mm = info.Focal35MM
	}
	if info.Model == "" || mm == 0 {
		return ""
	}
	return fmt.Sprintf("%s, %s, %s, %.1f mm, %d x %d", info.Make, info.Model, info.Lens, mm, max(w, h), min(w, h))
}

// frameLuma returns what [Measure] wants of a frame as the sensor lies, and the
// frame's full size.
func frameLuma(ctx context.Context, f *rawfile.Frame) (luma *raster.Plane, w, h int, err error) {
	switch {
	case f.Mosaic != nil:
		luma, err = mosaicLuma(ctx, f.Mosaic)
		return luma, f.Mosaic.W, f.Mosaic.H, err
	case f.Coded != nil:
		luma, err = codedLuma(ctx, f.Coded.RGB)
		return luma, f.Coded.RGB.W(), f.Coded.RGB.H(), err
	}
	luma, err = Luma(ctx, f.RGB, analysisEdge)
	return luma, f.RGB.W(), f.RGB.H(), err
}

// codedLuma is the luma of code values, which are perceptual as they are (weights
// of Recommendation ITU-R BT.709), averaged over whole blocks.
func codedLuma(ctx context.Context, m *raster.RGB) (*raster.Plane, error) {
	k := max(1, (max(m.W(), m.H())+analysisEdge/2)/analysisEdge)
	out := raster.Get(max(1, m.W()/k), max(1, m.H()/k))
	norm := 1 / float32(k*k)
	err := raster.Bands(ctx, out.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := out.Row(y)
			clear(row)
			for j := range min(k, m.H()) {
				r, g, b := m[0].Row(y*k+j), m[1].Row(y*k+j), m[2].Row(y*k+j)
				for x := range row {
					for i := x * k; i < min((x+1)*k, len(r)); i++ {
						row[x] += norm * (0.2126*r[i] + 0.7152*g[i] + 0.0722*b[i])
					}
				}
			}
		}
	})
	if err != nil {
		raster.Put(out)
		return nil, err
	}
	return out, nil
}

// mosaicLuma makes one pixel of each 2 x 2 cell: lines need no more.
func mosaicLuma(ctx context.Context, m *rawfile.Mosaic) (*raster.Plane, error) {
	half := raster.GetRGB(max(1, m.W/2), max(1, m.H/2))
	defer raster.PutRGB(half)
	err := raster.Bands(ctx, half.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for c := range 3 {
				clear(half[c].Row(y))
			}
			for j := range min(2, m.H) {
				in := m.Pix[(2*y+j)*m.W:][:m.W]
				for i := range min(2, m.W) {
					c := m.CFA[j][i]
					black := m.Black[j][i]
					scale := 1 / (m.White - black)
					if c == 1 {
						scale /= 2
					}
					row := half[c].Row(y)
					for x := range row {
						row[x] += scale * (float32(in[2*x+i]) - black)
					}
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return Luma(ctx, half, analysisEdge)
}

// upright turns a plane as the Exif orientation says; orientation 1 returns it
// as it is.
func upright(p *raster.Plane, orientation int) *raster.Plane {
	if orientation < 2 || orientation > 8 {
		return p
	}
	w, h := p.W, p.H
	if orientation >= 5 {
		w, h = h, w
	}
	from := orient(orientation, float64(w), float64(h))
	out := raster.Get(w, h)
	for y := range h {
		row := out.Row(y)
		for x := range row {
			sx, sy := from(float64(x)+0.5, float64(y)+0.5)
			row[x] = p.Row(int(sy))[int(sx)]
		}
	}
	return out
}
