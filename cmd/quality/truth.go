package main

import (
	"context"
	"math"
	"path/filepath"

	"mullion/colour"
	"mullion/demo"
	"mullion/internal/raster"
	"mullion/simcam"
)

// truth is what is known about a view of the rendered house, upright.
type truth struct {
	radiance []*raster.RGB // as the lens showed it, one a frame or one for all
	light    *raster.Plane // luminance of the reference frame's
	albedo   *raster.RGB   // linear reflectance, sRGB primaries
	window   *raster.Plane // coverage, nil without a window
	distance *raster.Plane // of places in the room to the window, pixels
}

func loadTruth(ctx context.Context, v demo.View, dir string) (*truth, error) {
	t := &truth{}
	for i := range v.Files {
		m, err := v.Radiance(ctx, i)
		if err != nil {
			return nil, err
		}
		if m, err = throughLens(ctx, m); err != nil {
			return nil, err
		}
		t.radiance = append(t.radiance, m)
	}
	t.light = luminance(t.radiance[len(t.radiance)/2], bt2020)
	a, err := readCodes(filepath.Join(dir, "A-"+v.Name+"-albedo.png"), 1)
	if err != nil {
		return nil, err
	}
	for c := range a {
		colour.DecodeSRGBRow(a[c].Pix, a[c].Pix)
	}
	t.albedo = a
	if w, err := readCodes(filepath.Join(dir, "A-"+v.Name+"-window.png"), 1); err == nil {
		t.window = w[0]
		t.distance = distance(t.window)
	}
	return t, nil
}

// throughLens blurs and darkens a scene as the simulated camera's lens does.
func throughLens(ctx context.Context, scene *raster.RGB) (*raster.RGB, error) {
	cam := simcam.LF1()
	w, h := scene.W(), scene.H()
	for c := range scene {
		if err := raster.Gauss(ctx, scene[c], scene[c], cam.PSF); err != nil {
			return nil, err
		}
		for y := range h {
			row := scene[c].Row(y)
			for x := range row {
				dx, dy := float64(x)+.5-float64(w)/2, float64(y)+.5-float64(h)/2
				r2 := (dx*dx + dy*dy) / (float64(w*w+h*h) / 4)
				row[x] *= float32(1 - cam.Vignette[0]*r2 - cam.Vignette[1]*r2*r2)
			}
		}
	}
	return scene, nil
}

var (
	bt2020 = colour.Vec3{0.2627, 0.6780, 0.0593}
	bt709  = colour.Vec3{0.2126, 0.7152, 0.0722}
	luma   = colour.Vec3{0.299, 0.587, 0.114} // of code values: the grey of both measures
)

func luminance(m *raster.RGB, k colour.Vec3) *raster.Plane {
	out := raster.New(m.W(), m.H())
	for i := range out.Pix {
		out.Pix[i] = float32(k[0])*m[0].Pix[i] + float32(k[1])*m[1].Pix[i] + float32(k[2])*m[2].Pix[i]
	}
	return out
}

// distance to the nearest place with coverage above 1 %, in two passes of the 5-7
// chamfer (Borgefors 1986), in pixels. Places beyond the glass get 0.
func distance(cover *raster.Plane) *raster.Plane {
	d := raster.New(cover.W, cover.H)
	for i, c := range cover.Pix {
		if c <= 0.01 {
			d.Pix[i] = 1e6
		}
	}
	pass := func(y, x, dy, dx int) {
		best := d.Row(y)[x]
		for _, n := range [4][3]int{{0, -dx, 5}, {-dy, -dx, 7}, {-dy, 0, 5}, {-dy, dx, 7}} {
			v, u := y+n[0], x+n[1]
			if v >= 0 && u >= 0 && v < d.H && u < d.W {
				best = min(best, d.Row(v)[u]+float32(n[2])/5)
			}
		}
		d.Row(y)[x] = best
	}
	for y := range d.H {
		for x := range d.W {
			pass(y, x, 1, 1)
		}
	}
	for y := d.H - 1; y >= 0; y-- {
		for x := d.W - 1; x >= 0; x-- {
			pass(y, x, -1, -1)
		}
	}
	return d
}

func log2(v float32) float64 { return math.Log2(math.Max(float64(v), 1e-7)) }
