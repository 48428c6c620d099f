package bracket

import (
	"context"

	"mullion/internal/raster"
)

// spreadShare is how far a region spreads into its surroundings where its frame shows
// them well, as a share of the picture's width, and spreadFar how far where frames differ
// there.
const (
	spreadShare = 1. / 14
	spreadFar   = 1. / 4
)

// spread grows every region over what lies around it, as far as its own frame is well
// exposed there, and marks the samples it takes in near.
//
// A turning fan also moves its faint shadow over the ceiling, too weak to be seen as
// motion in any one place. Each frame has another shadow, and since the three
// colours of a photosite's neighbourhood clip at different levels, a merge mixes them
// from different frames: pink and green sectors. One frame alone has none. Where the
// shadow reaches farther it is followed as far as frames differ. Beside a
// window, whose regions come from a dark frame, the room is too noisy in that frame
// to be taken.
func (m *merger) spread(ctx context.Context, r *regions, near mask) error {
	var rim []int32
	for j, k := range r.from {
		if k != 0 {
			rim = append(rim, int32(j))
		}
	}
	differ := make([]*raster.Plane, len(m.shots))
	for i := range int(spreadFar * float64(r.w)) {
		if i == int(spreadShare*float64(r.w)) {
			var err error
			if differ, err = m.differing(ctx, r); err != nil {
				return err
			}
		}
		var next []int32
		for _, j := range rim {
			for _, n := range r.beside(int(j)) {
				k := int(r.from[j]) - 1
				if r.from[n] == 0 && (differ[k] == nil || differ[k].Pix[n] > agreeFar) && m.shows(k, n, r.w) {
					r.from[n] = r.from[j]
					next = append(next, int32(n))
				}
			}
		}
		if len(next) == 0 {
			break
		}
		rim = next
	}
	// All of it is taken, but for a rim that carries the feather's tail.
	out := newMask(near.w, near.h)
	for j, k := range r.from {
		out.in[j] = k == 0
	}
	for j, v := range out.grown(reachSoft - reachOf).in {
		if !v && !near.in[j] && m.shows(int(r.from[j])-1, j, r.w) {
			near.in[j] = true
		}
	}
	return ctx.Err()
}

// differing is, for every shot that regions come from, by how much, as a share, another
// shot differs from it, over many samples; 0 where no other sees anything.
func (m *merger) differing(ctx context.Context, r *regions) ([]*raster.Plane, error) {
	all := make([]*raster.Plane, len(m.shots))
	d := raster.Get(r.w, r.h)
	defer raster.Put(d)
	for k, base := range m.shots {
		if !r.uses(k) {
			continue
		}
		all[k] = raster.New(r.w, r.h)
		for _, s := range m.shots {
			if s == base {
				continue
			}
			for y := range r.h {
				row, b := d.Row(y), base.proof.lin.Row(y)
				for x, v := range s.proof.lin.Row(y) {
					row[x] = 0
					if s.sees(v) && base.sees(b[x]) {
						row[x] = v*s.gain/(b[x]*base.gain) - 1
					}
				}
			}
			if err := raster.Gauss(ctx, d, d, blurFar); err != nil {
				return nil, err
			}
			for i, v := range d.Pix[:len(all[k].Pix)] {
				all[k].Pix[i] = max(all[k].Pix[i], abs(v))
			}
		}
	}
	return all, nil
}

// beside lists the samples left and right of, above and below one.
func (r *regions) beside(j int) []int {
	var all [4]int
	n := all[:0]
	x, y := j%r.w, j/r.w
	if x > 0 {
		n = append(n, j-1)
	}
	if x+1 < r.w {
		n = append(n, j+1)
	}
	if y > 0 {
		n = append(n, j-r.w)
	}
	if y+1 < r.h {
		n = append(n, j+r.w)
	}
	return n
}

// shows reports whether shot k, or where it clips the next darker that doesn't, sees
// proof sample j without much noise. Around a lamp the ceiling clips in the region's own
// frame; a merge there would mix the shadows after all, and as each colour ends at
// another level, in coloured rings.
func (m *merger) shows(k, j, w int) bool {
	for ; k >= 0; k-- {
		s := m.shots[k]
		p := s.proof.lin
		v := float64(p.Pix[j/w*p.Stride+j%w])
		if v >= 0.8 {
			continue
		}
		return v > 0 && s.noise[1].at(v) < noiseGood*noiseGood*v*v
	}
	return false
}
