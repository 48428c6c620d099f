// Package window finds what is seen through windows and glass doors.
//
// Indoors by day the world beyond the glass is two to seven stops brighter than
// the room, and everything later in the house wants to know where it is: tone
// gives it an exposure of its own, white balance gives it daylight. Nothing but
// the merged radiance is needed to find it. A window is a bright region that
// ends at once (a step of stops within a few pixels, where light on a wall fades
// out), has upright sides and straight edges, and holds either a picture (leaves,
// houses, sky) or one flat clipped white. A lamp is bright too, but it is small,
// or round, or smooth and warm. A patch of sun has slanting sides and wears the
// texture and the hue of the floor it lies on.
//
// Where the glass ends is a question of its own. A sill in the sun is as bright as the
// garden behind it; it is told from it by the straight edges that run along the whole
// side of a window, looked for on the full-size picture, to a part of a pixel.
//
// A window missed costs a bright patch in the picture; a wall taken for a window
// would turn grey. So the finder leaves out what it doubts.
package window

import (
	"context"
	"errors"
	"math"
	"slices"

	"mullion/internal/raster"
)

// Map says where the outside is seen, at the size of the picture it was found in.
type Map struct {
	// Coverage is the share of each pixel that shows the outside, 0 to 1. It
	// follows the edges of the picture: glazing bars and leaves are cut out.
	Coverage *raster.Plane
	// Regions are the windows found, largest first: panes parted by glazing bars
	// are one region.
	Regions []Region
	// Room is the room's own level: log2 of its median luminance.
	Room float64
}

// Region is one window.
type Region struct {
	X0, Y0, X1, Y1 int     // bounds in pixels of the picture, X1 and Y1 excluded
	Share          float64 // part of the picture it covers, 0 to 1
	Level          float64 // its median luminance in EV above the room
	Clipped        float64 // part of it of which nothing was recorded, 0 to 1
}

// Share is the part of the picture that shows the outside, 0 to 1.
func (m *Map) Share() float64 {
	if m == nil {
		return 0
	}
	var s float64
	for _, r := range m.Regions {
		s += r.Share
	}
	return s
}

// longSide is the size at which the picture is analysed. Windows are large;
// finer detail only adds noise, and a preview must find what the full size finds.
const longSide = 720

// ErrTooSmall is returned for pictures in which nothing can be told apart.
var ErrTooSmall = errors.New("window: the picture is smaller than 16 pixels on a side")

// ErrLost is returned when the map of what was not measured is not the picture's.
var ErrLost = errors.New("window: the map of clipped places and the picture differ in size")

// Find returns the windows in img, linear BT.2020 radiance, unclipped where the
// bracket allowed, in any unit. Global white balance before it helps to tell
// lamps from daylight but is not needed. It returns a map without regions when
// there are none. img is not changed.
func Find(ctx context.Context, img *raster.RGB) (*Map, error) {
	return FindClipped(ctx, img, func() (*raster.Plane, error) { return nil, nil })
}

// FindClipped is Find told where the measurement ends: lost gives how little of each
// pixel was measured, 0 to 1, of img's size; nil says nothing. Without it only what
// lies at the picture's one flat maximum counts as clipped, which a merge of several
// frames seldom leaves flat. lost is asked once, while one core is at work on something
// else, and its error returned; what it gives is not changed.
func FindClipped(ctx context.Context, img *raster.RGB, lost func() (*raster.Plane, error)) (*Map, error) {
	if img.W() < 16 || img.H() < 16 {
		return nil, ErrTooSmall
	}
	s, err := reduce(ctx, img, lost)
	if err != nil {
		return nil, err
	}
	defer s.release()
	m := &Map{Room: s.room}
	groups, err := s.candidates(ctx)
	if err != nil {
		return nil, err
	}
	mask := raster.Get(s.w, s.h)
	defer raster.Put(mask)
	mask.Fill(0)
	found, err := s.windows(ctx, img, groups)
	if err != nil {
		return nil, err
	}
	owner := make([]int16, s.w*s.h)
	for i, g := range found {
		s.fill(g, mask)
		for _, j := range g.pix {
			owner[j] = int16(i + 1)
		}
		m.Regions = append(m.Regions, s.region(g, img.W(), img.H()))
	}
	cuts := make([][]cut, len(found))
	done := make(chan error, 1)
	go func() { // where the glass ends is no question of how the mask is enlarged
		done <- raster.BandsOf(ctx, len(found), 1, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				g := found[i]
				if g.frame == nil {
					g.frame = s.frameOf(img, g)
				}
				cuts[i] = append(slices.Clone(g.frame.cuts), s.bars(img, g, g.frame)...)
			}
		})
	}()
	m.Coverage, err = s.coverage(ctx, img, mask, len(m.Regions) > 0)
	if e := <-done; err == nil {
		err = e
	}
	if err != nil {
		raster.Put(m.Coverage)
		return nil, err
	}
	for i := range found {
		own := func(x, y int) bool {
			k := owner[y*s.h/img.H()*s.w+x*s.w/img.W()]
			return k == 0 || k == int16(i+1)
		}
		for _, c := range cuts[i] {
			c.apply(m.Coverage, own)
		}
	}
	return m, nil
}

func (s *scene) region(g *group, w, h int) Region {
	fx, fy := float64(w)/float64(s.w), float64(h)/float64(s.h)
	return Region{
		X0: int(float64(g.x0) * fx), Y0: int(float64(g.y0) * fy),
		X1: min(w, int(math.Ceil(float64(g.x1)*fx))), Y1: min(h, int(math.Ceil(float64(g.y1)*fy))),
		Share:   float64(len(g.pix)) / float64(s.w*s.h),
		Level:   g.level,
		Clipped: g.clipped,
	}
}
