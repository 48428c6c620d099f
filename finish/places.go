package finish

import (
	"context"
	"math"

	"mullion/shoot"
)

// place is where a place of the picture, in shares of its width and height, lies in the
// upright frame that edits are measured in, in pixels.
func (s *straight) place(k *reduced, x, y float64) (float64, float64) {
	sx, sy := s.full.Map.At(x*float64(s.full.W), y*float64(s.full.H))
	return seenAt(k.Info.Orientation, sx, sy, float64(k.Frame[0]), float64(k.Frame[1]))
}

// Places carries places of a view's picture, in shares of its width and height, to the
// upright frame that edits are measured in. scale is how many pixels of that frame one
// width of the picture is.
func (p *Previews) Places(ctx context.Context, v shoot.View, at [][2]float64) (places [][2]float64, frame [2]int, scale float64, err error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return nil, frame, 0, err
	}
	for _, q := range at {
		x, y := s.place(l.kept, q[0], q[1])
		places = append(places, [2]float64{x, y})
	}
	x0, y0 := s.place(l.kept, .25, .5)
	x1, y1 := s.place(l.kept, .75, .5)
	return places, l.kept.Frame, 2 * math.Hypot(x1-x0, y1-y0), nil
}

// Upright is the decision that makes lines vertical which a person drew in the picture
// along upright edges: x1, y1, x2, y2 in shares of its width and height.
func (p *Previews) Upright(ctx context.Context, v shoot.View, drawn [][4]float64) (shoot.Level, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return shoot.Level{}, err
	}
	var lines [][4]float64
	for _, d := range drawn {
		x1, y1 := s.place(l.kept, d[0], d[1])
		x2, y2 := s.place(l.kept, d[2], d[3])
		lines = append(lines, [4]float64{x1, y1, x2, y2})
	}
	pose := s.pic.pose
	pitch, roll, err := pose.Drawn(l.kept.Frame[0], l.kept.Frame[1], lines)
	if err != nil {
		return shoot.Level{}, err
	}
	level := shoot.Level{PitchDeg: round(pitch, 3), RollDeg: round(roll, 3)}
	if pose.Straight {
		level.YawDeg = round(pose.YawDeg, 3)
	}
	return level, nil
}
