package tone

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
	"mullion/window"
)

// Anchors are the levels a view is exposed by: log2 of luminance in the unit of
// the radiance.
type Anchors struct {
	Wall    float64 // where bright surfaces of the room lie: its walls and ceiling
	Room    float64 // the room's median
	Window  float64 // the median of what is seen through the windows; 0 without
	Clipped float64 // part of the window that holds no picture, 0 to 1
	Bright  float64 // the level above which 3 % of the room lies, lamps included
	Dark    float64 // the level below which 3 % of the room lies
}

// anchors measures the room without windows and lamps. Walls and ceilings make
// up the upper middle of almost any interior; where few surfaces are bright, the
// brightest of them set the limit instead, so that white trim in a dark room is
// not burnt out.
func (s *scene) anchors(win *window.Map) Anchors {
	var room, out []float32
	for i, l := range s.log.Pix {
		switch {
		case s.win == nil || s.win.Pix[i] < 0.03:
			room = append(room, l)
		case s.win.Pix[i] > 0.7:
			out = append(out, l)
		}
	}
	if len(room) < len(s.log.Pix)/50 {
		room = slices.Clone(s.log.Pix)
	}
	ascending(room)
	ascending(out)
	a := Anchors{Bright: float64(at(room, 0.97)), Dark: float64(at(room, 0.03))}
	all := room
	most := len(room) * 7 / 8
	for range 3 { // leave out lamps; what covers more than an eighth is no lamp
		k, _ := slices.BinarySearch(room, at(room, 0.5)+2.5)
		if k == len(room) || k < most {
			break
		}
		room = room[:k]
	}
	a.Room = float64(at(room, 0.5))
	a.Wall = float64(max(at(room, 0.68), at(room, 0.90)-0.7, at(room, 0.96)-1.1))
	// Nor may a bright half leave the other half in the dark.
	a.Wall = min(a.Wall, float64(at(all, 0.5))+brightHalf)
	if len(out) > 0 {
		a.Window = float64(at(out, 0.5))
		var share float64
		for _, r := range win.Regions {
			a.Clipped += r.Share * r.Clipped
			share += r.Share
		}
		a.Clipped /= max(share, 1e-9)
	}
	return a
}

// brightHalf is how far, in EV, the walls may be taken to lie above the picture's
// median. White walls lie within one EV of it in most rooms; where more than half is
// far darker, what is bright is a window that was not found or a patch of sun, and the
// room must not go dark for it. Common practice, no source.
const brightHalf = 1.35

func at(sorted []float32, q float64) float32 { return sorted[int(q*float64(len(sorted)-1))] }

const (
	windowAbove = 8.0 // mean L* of the view above the wall's
	blankAbove  = 9.0 // more where nothing was recorded: a white window, not a grey one
)

// windowStart returns the EV to add to the room's light in the windows, such
// that what is seen through them is on average a little brighter than the walls.
func (s *scene) windowStart(c toneCurve, roomEV, clipped float64) float64 {
	if s.win == nil {
		return 0
	}
	hist := make(map[int]float64)
	var sum, level float64
	for i, m := range s.win.Pix {
		if m > 0.7 {
			hist[int(math.Floor(float64(s.log.Pix[i])*16))]++
			sum++
			level += float64(s.log.Pix[i])
		}
	}
	if sum == 0 {
		return 0
	}
	level /= sum
	goal := lightness(c.at(0)) + windowAbove + blankAbove*clipped
	lo, hi := -16.0, 0.0
	for range 24 {
		ev := (lo + hi) / 2
		var mean float64
		for k, n := range hist {
			mean += n * lightness(c.at(level+(1-evenOut)*((float64(k)+0.5)/16-level)+roomEV+ev))
		}
		if mean/sum > goal {
			hi = ev
		} else {
			lo = ev
		}
	}
	return (lo + hi) / 2
}

// The range of the view is drawn together so that it fits between the walls and
// white: differences between one part of it and another (a sunlit window, a
// shaded one; sky, garden) by half, texture by less.
const (
	evenOut    = 0.50
	evenFine   = 0.25
	glareFloor = float32(0.4)  // EV above the wall
	shadeStart = float32(-0.5) // EV above the wall: where the shadows of the view are drawn in
	shadeKept  = float32(0.45)
	evenSigma  = 0.012 // of the long side: what is wider is no texture
)

// expose sets the lights: lit = log + room + coverage x (window - evening out).
func (s *scene) expose(ctx context.Context, roomEV, windowEV float64) error {
	s.lit = raster.Get(s.w, s.h)
	if s.win == nil {
		for i, l := range s.log.Pix {
			s.lit.Pix[i] = l + float32(roomEV)
		}
		return ctx.Err()
	}
	// The local mean of the view alone: blur of coverage x level over blur of
	// coverage, so that the room never weighs in.
	num, den := raster.Get(s.w, s.h), s.win.Clone()
	defer raster.Put(num, den)
	var mean, sum float64
	for i, m := range s.win.Pix {
		num.Pix[i] = m * s.log.Pix[i]
		mean += float64(num.Pix[i])
		sum += float64(m)
	}
	mean /= max(sum, 1e-9)
	width := evenSigma * float64(max(s.w, s.h))
	if err := raster.Gauss(ctx, num, num, width); err != nil {
		return err
	}
	if err := raster.Gauss(ctx, den, den, width); err != nil {
		return err
	}
	for i, l := range s.log.Pix {
		m := s.win.Pix[i]
		v := l + float32(roomEV)
		if m > 0 {
			wide := num.Pix[i] / max(den.Pix[i], 1e-6)
			open := v
			v += m * (float32(windowEV) - evenFine*(l-wide) - evenOut*(wide-float32(mean)))
			// A sunlit sill taken for part of the view, and the view's own shadows,
			// stay light.
			if v < shadeStart {
				v = max(v, min(open, shadeStart+(v-shadeStart)*shadeKept))
			}
			// Glare around a window is half covered: it may come down towards the
			// walls, not below them.
			if floor := min(open, glareFloor); m < 0.95 && v < floor {
				v += (floor - v) * min(1, (0.95-m)*5)
			}
		}
		s.lit.Pix[i] = v
	}
	return ctx.Err()
}

// Middle returns the levels in the middle of those of several views of one room, each
// by itself, for [Params.Match]: one odd view moves it little. It returns nil for none.
func Middle(views []Anchors) *Anchors {
	if len(views) == 0 {
		return nil
	}
	m := &Anchors{}
	for _, f := range []func(*Anchors) *float64{
		func(a *Anchors) *float64 { return &a.Wall },
		func(a *Anchors) *float64 { return &a.Room },
		func(a *Anchors) *float64 { return &a.Window },
		func(a *Anchors) *float64 { return &a.Clipped },
		func(a *Anchors) *float64 { return &a.Bright },
		func(a *Anchors) *float64 { return &a.Dark },
	} {
		var v []float64
		for i := range views {
			v = append(v, *f(&views[i]))
		}
		slices.Sort(v)
		*f(m) = (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	}
	return m
}
