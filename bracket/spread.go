package bracket

// spreadShare is how far a region spreads into its surroundings where its frame shows
// them well, as a share of the picture's width.
const spreadShare = 1. / 14

// spread grows every region over what lies around it, as far as its own frame is well
// exposed there, and marks the samples it takes in near.
//
// A turning fan also moves its faint shadow over the ceiling, too weak to be seen as
// motion in any one place. Each frame has another shadow, and since the three
// colours of a photosite's neighbourhood clip at different levels, a merge mixes them
// from different frames: pink and green sectors. One frame alone has none. Beside a
// window, whose regions come from a dark frame, the room is too noisy in that frame
// to be taken.
func (m *merger) spread(r *regions, near mask) {
	reach := int(spreadShare * float64(r.w))
	for i := range reach {
		var taken []int
		for j, k := range r.from {
			if k != 0 {
				continue
			}
			if k = r.neighbour(j); k != 0 && m.shows(m.shots[k-1], j, r.w) {
				taken = append(taken, j, int(k))
			}
		}
		if len(taken) == 0 {
			return
		}
		for t := 0; t < len(taken); t += 2 {
			r.from[taken[t]] = uint8(taken[t+1])
			// The last few only carry the feather's tail.
			if i < reach-reachSoft+reachOf {
				near.in[taken[t]] = true
			}
		}
	}
}

// neighbour is the shot of a labelled sample beside j, or 0.
func (r *regions) neighbour(j int) uint8 {
	x, y := j%r.w, j/r.w
	switch {
	case x > 0 && r.from[j-1] != 0:
		return r.from[j-1]
	case x+1 < r.w && r.from[j+1] != 0:
		return r.from[j+1]
	case y > 0 && r.from[j-r.w] != 0:
		return r.from[j-r.w]
	case y+1 < r.h && r.from[j+r.w] != 0:
		return r.from[j+r.w]
	}
	return 0
}

// shows reports whether a frame sees proof sample j neither clipped nor noisy.
func (m *merger) shows(s *shot, j, w int) bool {
	p := s.proof.lin
	v := float64(p.Pix[j/w*p.Stride+j%w])
	if v <= 0 || v >= 0.8 {
		return false
	}
	return s.noise[1].at(v) < noiseGood*noiseGood*v*v
}
