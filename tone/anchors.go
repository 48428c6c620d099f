package tone

import (
	"math"

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
	Dark    float64 // the level below which 3 % of the room lies
}

// anchors measures the room without windows and lamps. Walls and ceilings make
// up the upper middle of almost any interior; where few surfaces are bright, the
// brightest of them set the limit instead, so that white trim in a dark room is
// not burnt out.
func (s *scene) anchors(win *window.Map) Anchors {
	memory := [2]*raster.Plane{raster.Get(s.w, s.h), raster.Get(s.w, s.h)}
	defer raster.Put(memory[:]...)
	room, out := memory[0].Pix[:0], memory[1].Pix[:0]
	for i, l := range s.log.Pix {
		switch {
		case s.win == nil || s.win.Pix[i] < 0.03:
			room = append(room, l)
		case s.win.Pix[i] > 0.7:
			out = append(out, l)
		}
	}
	if len(room) < len(s.log.Pix)/50 {
		room = append(room[:0], s.log.Pix...)
	}
	rooms := raster.NewRanks(room, histFrom, -histFrom, rankSteps)
	defer rooms.Release()
	n := rooms.Len() // of those that count, the darkest
	at := func(q float64) float32 { return rooms.At(int(q * float64(n-1))) }
	a := Anchors{Dark: float64(at(0.03))}
	median := float64(at(0.5))
	most := n * 7 / 8
	for range 3 { // leave out lamps; what covers more than an eighth is no lamp
		k := min(n, rooms.Below(at(0.5)+2.5))
		if k == n || k < most {
			break
		}
		n = k
	}
	a.Room = float64(at(0.5))
	a.Wall = float64(max(at(0.68), at(0.90)-0.7, at(0.96)-1.1))
	// Nor may a bright half leave the other half in the dark.
	a.Wall = min(a.Wall, median+brightHalf)
	if len(out) > 0 {
		views := raster.NewRanks(out, histFrom, -histFrom, rankSteps)
		defer views.Release()
		a.Window = float64(views.At(int(0.5 * float64(len(out)-1))))
		var share float64
		for _, r := range win.Regions {
			a.Clipped += r.Share * r.Clipped
			share += r.Share
		}
		a.Clipped /= max(share, 1e-9)
	}
	return a
}

// rankSteps is how many parts of an EV samples are told apart by before they are sorted.
const rankSteps = 128

// brightHalf is how far, in EV, the walls may be taken to lie above the picture's
// median. White walls lie within one EV of it in most rooms; where more than half is
// far darker, what is bright is a window that was not found or a patch of sun, and the
// room must not go dark for it. Common practice, no source.
const brightHalf = 1.35

// The longest frame of a bracket is exposed for the room's shadows. Where even that
// one shows the walls dark, the room was dark, or meant to be (dusk, a single lamp,
// a bracket that ended too soon): up to easyLift, in EV, the picture may be brighter
// than that frame, beyond it by hardLift of what is missing. More shows noise where
// nothing was recorded, and an evening as noon. Common practice, no source.
const (
	easyLift = 1.5
	hardLift = 0.4
)

// held is the level of the walls, raised where they would be shown much brighter than
// a frame that is full at longest shows them.
func held(wall, longest float64) float64 {
	if longest <= 0 {
		return wall
	}
	lift := wallLog - (wall - math.Log2(longest))
	return wall + (1-hardLift)*max(0, lift-easyLift)
}
