package whitebalance

import "mullion/internal/raster"

// Moved is the light of the same view in another framing: at leads from a place of the
// new picture to one of the picture that was measured, both in shares of width and height.
// Beyond that picture's border the light is taken to be as at the border. e is not changed.
func (e *Estimate) Moved(at func(x, y float64) (float64, float64)) *Estimate {
	out := *e
	f := e.field
	if f.w*f.h <= 1 {
		return &out
	}
	const cells = 24 // a turn of the camera bends no line within a cell of this many
	var grid [cells + 1][cells + 1][2]float64
	for j := range grid {
		for i := range grid[j] {
			x, y := at(float64(i)/cells, float64(j)/cells)
			grid[j][i] = [2]float64{x, y}
		}
	}
	to := field{w: f.w, h: f.h, plane: [2]*raster.Plane{raster.New(f.w, f.h), raster.New(f.w, f.h)}}
	if f.guide != nil {
		to.guide = make([][3]float32, len(f.guide))
	}
	for y := range f.h {
		v := (float64(y) + 0.5) / float64(f.h) * cells
		j := min(int(v), cells-1)
		v -= float64(j)
		for x := range f.w {
			u := (float64(x) + 0.5) / float64(f.w) * cells
			i := min(int(u), cells-1)
			u -= float64(i)
			var p [2]float64
			for c := range p {
				top := grid[j][i][c] + (grid[j][i+1][c]-grid[j][i][c])*u
				end := grid[j+1][i][c] + (grid[j+1][i+1][c]-grid[j+1][i][c])*u
				p[c] = top + (end-top)*v
			}
			// The nearest, not a mean: where the light jumps it has to go on jumping.
			from := int(clamp(p[1]*float64(f.h), float64(f.h-1)))*f.w + int(clamp(p[0]*float64(f.w), float64(f.w-1)))
			k := y*f.w + x
			for c := range to.plane {
				to.plane[c].Pix[k] = f.plane[c].Pix[from]
			}
			if to.guide != nil {
				to.guide[k] = f.guide[from]
			}
		}
	}
	out.field = to
	return &out
}
