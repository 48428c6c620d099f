package check

import (
	"math"
	"slices"
)

// blur is how sharp a view's frames are: standard deviations of the point spread in
// full-size pixels.
type blur struct {
	best   float64   // of the sharpest fifth of the tiles in the best frame for each
	frames []float64 // how many times blurrier each frame is than the best, by tile; 0 unknown
	worst  int       // index of the blurriest frame
	shake  float64   // ratio of the two directions in it, 1 or more
	near   float64   // the foot of the picture against its middle, times
	tiles  int
}

// sharpEnough is a blur, in full-size pixels, under which frames count as alike.
const sharpEnough = .6

// measureBlur compares the frames of a view with each other, tile by tile.
func (v *seen) measureBlur() blur {
	var out blur
	out.frames = make([]float64, len(v.frames))
	n := len(v.frames[v.used[0]].sharp.across)
	least := make([]float64, n)
	for t := range least {
		least[t] = math.Inf(1)
		for _, i := range v.used {
			if s := v.frames[i].sharp.at(t); s > 0 {
				least[t] = math.Min(least[t], s)
			}
		}
	}
	var all []float64
	for _, s := range least {
		if !math.IsInf(s, 1) {
			all = append(all, s)
		}
	}
	out.tiles = len(all)
	if len(all) < fewTiles {
		return out
	}
	slices.Sort(all)
	out.best = all[len(all)/5]
	for _, i := range v.used {
		f := &v.frames[i].sharp
		var ratio, x, y []float64
		for t := range least {
			if s := f.at(t); s > 0 {
				ratio = append(ratio, s/math.Max(least[t], sharpEnough))
				if f.across[t] > 0 && f.along[t] > 0 {
					x, y = append(x, float64(f.across[t])), append(y, float64(f.along[t]))
				}
			}
		}
		if len(ratio) < max(fewTiles+2, out.tiles*3/10) { // a dark frame shows other edges in a tile
			continue
		}
		out.frames[i] = middleOf(ratio)
		if out.frames[out.worst] < out.frames[i] {
			out.worst, out.shake = i, 1
			if len(x) >= fewTiles {
				a, b := middleOf(x), middleOf(y)
				out.shake = math.Max(a, b) / math.Max(.1, math.Min(a, b))
			}
		}
	}
	out.near = v.nearEdge(least)
	return out
}

// at is the blur of tile t in the worse direction, 0 when unknown.
func (s *sharpness) at(t int) float64 {
	if t >= len(s.across) {
		return 0
	}
	return float64(max(s.across[t], s.along[t]))
}

// nearEdge compares the lowest fifth of the upright picture, which is nearest to the
// camera, with its middle half.
func (v *seen) nearEdge(least []float64) float64 {
	s := v.frames[v.used[0]].sharp
	var foot, middle []float64
	for t, b := range least {
		if math.IsInf(b, 1) {
			continue
		}
		at := seenAt(v.info.Orientation, s.cols, s.rows, t%s.cols, t/s.cols, t%s.cols+1, t/s.cols+1)
		switch {
		case at.Y1 > .85:
			foot = append(foot, b)
		case at.Y0 > .25 && at.Y1 < .75:
			middle = append(middle, b)
		}
	}
	if len(foot) < 4 || len(middle) < fewTiles {
		return 1
	}
	slices.Sort(middle)
	return middleOf(foot) / math.Max(.3, middle[len(middle)/3])
}

func middleOf(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}
