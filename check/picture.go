package check

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"math"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/tone"
	"mullion/window"
)

// pictureEdge is the long edge of a page's pictures.
const pictureEdge = 640

// picture is a view's small picture for the page and what is marked on it, in shares of
// the upright picture.
type picture struct {
	jpeg        []byte
	w, h        int
	clip        []run        // outline of what clips
	moving      []box        // what moved
	plumb       [][4]float64 // lines that are upright in the house
	spots       []box
	orientation int
}

// run is one straight piece of an outline.
type run struct{ X0, Y0, X1, Y1 float64 }

func (p *picture) spot(at box) {
	if p == nil {
		return
	}
	const n = 1 << 16
	p.spots = append(p.spots, seenAt(p.orientation, n, n, int(at.X0*n), int(at.Y0*n), int(at.X1*n), int(at.Y1*n)))
}

// draw finishes a small picture of the view as the stations after the merge would.
func (v *seen) draw(ctx context.Context) (*picture, error) {
	p := &picture{orientation: v.info.Orientation}
	rgb, win, err := v.reduced(ctx)
	if err != nil {
		return nil, err
	}
	var coverage *raster.Plane
	if win != nil {
		coverage = win.Coverage
	}
	if err := v.light.Apply(ctx, rgb, coverage); err != nil {
		return nil, err
	}
	rgb, _, err = tone.Render(ctx, rgb, win, tone.Params{})
	if err != nil {
		return nil, err
	}
	if err := p.encode(rgb); err != nil {
		return nil, err
	}
	raster.PutRGB(rgb)
	p.clip = outline(v.clipped.mask, v.level.W, v.level.H, v.info.Orientation)
	for i, r := range v.moving {
		if i < 12 {
			p.moving = append(p.moving, r.at)
		}
	}
	if 1-v.kept >= tiltLook {
		p.plumb = v.uprights(p.w, p.h)
	}
	return p, ctx.Err()
}

// reduced is the scene and its windows at the page's size.
func (v *seen) reduced(ctx context.Context) (*raster.RGB, *window.Map, error) {
	w, h := v.scene.W(), v.scene.H()
	k := math.Min(1, pictureEdge/float64(max(w, h)))
	sw, sh := int(float64(w)*k+.5), int(float64(h)*k+.5)
	var out raster.RGB
	for c, src := range v.scene {
		p, err := raster.Shrink(ctx, src, sw, sh)
		if err != nil {
			return nil, nil, err
		}
		out[c] = p
	}
	if v.windows == nil {
		return &out, nil, nil
	}
	win := *v.windows
	var err error
	if win.Coverage, err = raster.Shrink(ctx, v.windows.Coverage, sw, sh); err != nil {
		return nil, nil, err
	}
	win.Regions = nil
	for _, r := range v.windows.Regions {
		r.X0, r.Y0 = int(float64(r.X0)*k), int(float64(r.Y0)*k)
		r.X1, r.Y1 = min(sw, int(float64(r.X1)*k+1)), min(sh, int(float64(r.Y1)*k+1))
		win.Regions = append(win.Regions, r)
	}
	return &out, &win, nil
}

func (p *picture) encode(rgb *raster.RGB) error {
	w, h := rgb.W(), rgb.H()
	if p.orientation >= 5 {
		w, h = h, w
	}
	p.w, p.h = w, h
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := raster.Stored(p.orientation, x, y, w, h)
			img.SetRGBA(x, y, color.RGBA{code8(rgb[0].Row(sy)[sx]), code8(rgb[1].Row(sy)[sx]), code8(rgb[2].Row(sy)[sx]), 255})
		}
	}
	var buf bytes.Buffer
	err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 82})
	p.jpeg = buf.Bytes()
	return err
}

func code8(v float32) uint8 {
	return uint8(255*colour.EncodeSRGB(float64(max(0, min(1, v)))) + .5)
}

// outline is the border of a mask in horizontal and vertical pieces, on a grid coarse
// enough for a page.
func outline(mask []bool, w, h, orientation int) []run {
	gw := 200
	gh := max(1, gw*h/w)
	if gw > w {
		gw, gh = w, h
	}
	on := make([]bool, gw*gh)
	for i, is := range mask {
		if is {
			on[(i/w)*gh/h*gw+(i%w)*gw/w] = true
		}
	}
	at := func(x, y int) bool { return x >= 0 && y >= 0 && x < gw && y < gh && on[y*gw+x] }
	var out []run
	add := func(x0, y0, x1, y1 int) {
		b := seenAt(orientation, gw, gh, x0, y0, x1, y1)
		out = append(out, run(b))
	}
	for y := 0; y <= gh; y++ {
		for x := 0; x < gw; {
			n := x
			for n < gw && at(n, y) != at(n, y-1) {
				n++
			}
			if n > x {
				add(x, y, n, y)
			}
			x = n + 1
		}
	}
	for x := 0; x <= gw; x++ {
		for y := 0; y < gh; {
			n := y
			for n < gh && at(x, n) != at(x-1, n) {
				n++
			}
			if n > y {
				add(x, y, x, n)
			}
			y = n + 1
		}
	}
	return out
}

// uprights are lines of the picture that are upright in the house: towards the vertical
// vanishing point, which pitch and roll fix.
func (v *seen) uprights(w, h int) [][4]float64 {
	f := v.pose.FocalPx / float64(v.fullLong()) * float64(max(w, h))
	if f <= 0 {
		return nil
	}
	sp, cp := math.Sincos(v.pose.PitchDeg * math.Pi / 180)
	sr, cr := math.Sincos(v.pose.RollDeg * math.Pi / 180)
	dx, dy, dz := cp*sr, cp*cr, -sp // down, seen by the camera
	var out [][4]float64
	for i := 1; i <= 5; i++ {
		x0 := (float64(i)/6 - .5) * float64(w) / f
		at := func(y float64) (float64, float64) {
			t := y / f
			return (x0+t*(dx-x0*dz)/dy)*f/float64(w) + .5, y/float64(h) + .5
		}
		xa, ya := at(-float64(h) / 2)
		xb, yb := at(float64(h) / 2)
		out = append(out, [4]float64{xa, ya, xb, yb})
	}
	return out
}

func (v *seen) fullLong() int {
	f := v.frames[v.merged.Reference]
	return max(f.fullW, f.fullH)
}
