package removal

import (
	"context"
	"fmt"
	"image"
	_ "image/png" // masks are PNG files
	"math"
	"os"

	"mullion/internal/raster"
)

// ReadMask reads a mask from a PNG file: white goes, black stays. Where the file has
// transparency, what is transparent stays. Its size must be w x h, that of the view
// as its camera saw it, upright.
func ReadMask(path string, w, h int) (*raster.Plane, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the mask can't be read: %w", err)
	}
	defer f.Close()
	head, kind, err := image.DecodeConfig(f)
	if err != nil || kind != "png" {
		return nil, fmt.Errorf("%s: this is no PNG picture; save the mask as PNG", path)
	}
	if head.Width != w || head.Height != h {
		return nil, fmt.Errorf("%s: the mask has %d x %d pixels, the upright frame %d x %d; paint it on the frame as seen, before straightening and cropping",
			path, head.Width, head.Height, w, h)
	}
	if _, err := f.Seek(0, 0); err != nil {
		return nil, err
	}
	m, _, err := image.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("%s: the mask is damaged (%w); save it again", path, err)
	}
	out := raster.New(w, h)
	any := false
	b := m.Bounds()
	for y := range h {
		row := out.Row(y)
		for x := range row {
			r, g, bl, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA() // multiplied by the opacity
			row[x] = float32(max(r, g, bl)) / 65535
			any = any || row[x] >= painted
		}
	}
	if !any {
		return nil, fmt.Errorf("%s: the mask is black all over; paint white what is to go", path)
	}
	return out, nil
}

// placeStep is how far apart the map is worked out; between, it is a straight line.
const placeStep = 16

// Place carries a mask into another geometry: at says where a place of the w x h
// result, pixel centres at +0.5, is on the mask. Outside the mask it is 0.
func Place(ctx context.Context, mask *raster.Plane, at func(x, y float64) (float64, float64), w, h int) (*raster.Plane, error) {
	out := raster.New(w, h)
	b := bounds(mask)
	if b.empty() {
		return out, ctx.Err()
	}
	rows := (h + placeStep - 1) / placeStep
	return out, raster.BandsOf(ctx, rows, 1, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for x := 0; x < w; x += placeStep {
				placeTile(out, mask, b, at, x, j*placeStep)
			}
		}
	})
}

func placeTile(out, mask *raster.Plane, b box, at func(x, y float64) (float64, float64), x0, y0 int) {
	const s = placeStep
	var px, py [4]float64
	for k := range 4 {
		px[k], py[k] = at(float64(x0+k%2*s), float64(y0+k/2*s))
	}
	const edge = 2 // the map bends less than this within a tile
	if max(px[0], px[1], px[2], px[3]) < float64(b.x0-edge) || min(px[0], px[1], px[2], px[3]) > float64(b.x1+edge) ||
		max(py[0], py[1], py[2], py[3]) < float64(b.y0-edge) || min(py[0], py[1], py[2], py[3]) > float64(b.y1+edge) {
		return
	}
	mix := func(v [4]float64, u, t float64) float64 {
		return (v[0]*(1-u)+v[1]*u)*(1-t) + (v[2]*(1-u)+v[3]*u)*t
	}
	for y := y0; y < min(y0+s, out.H); y++ {
		row := out.Row(y)
		for x := x0; x < min(x0+s, out.W); x++ {
			u, t := (float64(x-x0)+0.5)/s, (float64(y-y0)+0.5)/s
			row[x] = bilinear(mask, mix(px, u, t)-0.5, mix(py, u, t)-0.5)
		}
	}
}

// bilinear reads the mask between its pixels; it is 0 outside.
func bilinear(m *raster.Plane, x, y float64) float32 {
	fx, fy := math.Floor(x), math.Floor(y)
	if fx < -1 || fy < -1 || fx >= float64(m.W) || fy >= float64(m.H) {
		return 0
	}
	u, t := float32(x-fx), float32(y-fy)
	i, j := int(fx), int(fy)
	v := func(i, j int) float32 {
		if i < 0 || j < 0 || i >= m.W || j >= m.H {
			return 0
		}
		return m.Row(j)[i]
	}
	return (v(i, j)*(1-u)+v(i+1, j)*u)*(1-t) + (v(i, j+1)*(1-u)+v(i+1, j+1)*u)*t
}

// Bounds is the rectangle around what a mask has painted: its left, top, width and
// height. ok is false when nothing is.
func Bounds(mask *raster.Plane) (x, y, w, h int, ok bool) {
	b := bounds(mask)
	if b.empty() {
		return 0, 0, 0, 0, false
	}
	return b.x0, b.y0, b.w(), b.h(), true
}
