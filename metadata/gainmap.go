package metadata

import (
	"encoding/binary"
	"math"
)

// Gains are the gain maps of a file, all of which apply.
type Gains struct{ Maps []GainMap }

// GainMap is one GainMap of the DNG specification (1.3 and later): gains on a coarse grid
// over the picture as the sensor lies, for a part of its samples. Phones take the
// vignetting of every colour away with four of them, one for each place of the mosaic's
// 2 x 2 cell.
type GainMap struct {
	// Top, Left, Bottom and Right bound the samples it is for, in pixels of the active
	// area; of those, every RowPitch-th row and ColPitch-th column counts.
	Top, Left, Bottom, Right int
	RowPitch, ColPitch       int
	// Plane is the first plane it is for, and Planes how many. Colours tells planes that
	// are colours (red, green, blue) from the one plane of a mosaic.
	Plane, Planes int
	Colours       bool
	// The grid: V rows of H points, MapPlanes gains each, the first point at OriginV,
	// OriginH and the next SpacingV, SpacingH on, in heights and widths of the picture.
	V, H, MapPlanes    int
	OriginV, OriginH   float64
	SpacingV, SpacingH float64
	Gain               []float32
}

// mostPoints bounds a map's grid; real ones have some hundred points.
const mostPoints = 1 << 18

// gain reads a GainMap; one that makes no sense counts as absent.
func (o *Optics) gain(b []byte, colours bool) {
	const head = 10*4 + 4*8 + 4
	if len(b) < head {
		return
	}
	var n [10]int
	for i := range n {
		v := binary.BigEndian.Uint32(b[4*i:])
		if v > 1<<20 {
			return
		}
		n[i] = int(v)
	}
	at, ok := doubles(b[40:72], 4)
	planes := binary.BigEndian.Uint32(b[72:])
	m := GainMap{Top: n[0], Left: n[1], Bottom: n[2], Right: n[3], Plane: n[4], Planes: n[5],
		RowPitch: n[6], ColPitch: n[7], V: n[8], H: n[9], MapPlanes: int(min(planes, 5)), Colours: colours}
	size := m.V * m.H * m.MapPlanes
	if !ok || m.Top >= m.Bottom || m.Left >= m.Right || m.RowPitch < 1 || m.ColPitch < 1 ||
		m.MapPlanes < 1 || m.MapPlanes > 4 || m.Planes < 1 || m.V > mostPoints || m.H > mostPoints ||
		size < 1 || size > mostPoints || len(b) != head+4*size {
		return
	}
	m.SpacingV, m.SpacingH, m.OriginV, m.OriginH = at[0], at[1], at[2], at[3]
	if m.V > 1 && !(m.SpacingV > 0) || m.H > 1 && !(m.SpacingH > 0) {
		return
	}
	m.Gain = make([]float32, size)
	for i := range m.Gain {
		g := math.Float32frombits(binary.BigEndian.Uint32(b[head+4*i:]))
		if !(g > 1.0/16 && g < 64) {
			return
		}
		m.Gain[i] = g
	}
	if o.Gains == nil {
		o.Gains = &Gains{}
	}
	o.Gains.Maps = append(o.Gains.Maps, m)
}

// Row fills dst with the gains of row y of a w x h picture for one plane of the map,
// whether the samples count or not: linear between the grid's points, and beyond them as
// at the last.
func (m *GainMap) Row(dst []float32, plane, y, w, h int) {
	p := min(max(0, plane-m.Plane), m.MapPlanes-1)
	v0, v1, fv := between((float64(y)+0.5)/float64(h), m.OriginV, m.SpacingV, m.V)
	for x := range dst {
		h0, h1, fh := between((float64(x)+0.5)/float64(w), m.OriginH, m.SpacingH, m.H)
		g := func(v, h int) float32 { return m.Gain[(v*m.H+h)*m.MapPlanes+p] }
		top := g(v0, h0) + fh*(g(v0, h1)-g(v0, h0))
		low := g(v1, h0) + fh*(g(v1, h1)-g(v1, h0))
		dst[x] = top + fv*(low-top)
	}
}

// between returns the two points of a grid around a place, and how far it is from the
// first to the second.
func between(at, origin, spacing float64, n int) (a, b int, f float32) {
	if n < 2 {
		return 0, 0, 0
	}
	u := (at - origin) / spacing
	if !(u > 0) {
		return 0, 0, 0
	}
	if u >= float64(n-1) {
		return n - 1, n - 1, 0
	}
	a = int(u)
	return a, a + 1, float32(u - float64(a))
}
