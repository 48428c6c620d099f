package check

import (
	"math"
	"slices"
)

// blur is how sharp a view's frames are: standard deviations of the point spread in
// full-size pixels.
type blur struct {
	best   float64   // of the sharper part of the tiles, in the median frame of each
	frames []float64 // how many times blurrier each frame is than the others; 0 unknown
	worst  int       // index of the blurriest frame
	shake  float64   // ratio of the two directions' ratios in it, 1 or more
	near   float64   // the foot of the picture against its middle, times
	foot   float64   // blur of the foot
	tiles  int
}

// sharpEnough is a blur, in full-size pixels, under which frames count as alike.
const sharpEnough = .6

// measureBlur compares the frames of a view with each other, tile by tile and one
// direction at a time.
func (v *seen) measureBlur() blur {
	out := blur{frames: make([]float64, len(v.frames))}
	n := len(v.frames[v.used[0]].sharp.across)
	usual := make([]float64, n)
	var all []float64
	for t := range usual {
		if usual[t] = v.usual(-1, t, (*sharpness).at); usual[t] > 0 {
			all = append(all, usual[t])
		}
	}
	out.tiles = len(all)
	if len(all) < fewTiles {
		return out
	}
	slices.Sort(all)
	out.best = all[len(all)*2/5]
	for _, i := range v.used {
		a := v.ratios(i, n, func(s *sharpness, t int) float64 { return float64(s.across[t]) })
		b := v.ratios(i, n, func(s *sharpness, t int) float64 { return float64(s.along[t]) })
		across, along := softer(a), softer(b)
		if across == 0 && along == 0 { // a very dark or bright frame has few edges of either kind
			across = softer(append(a, b...))
			along = across
		}
		out.frames[i] = math.Max(across, along)
		if out.frames[i] > out.frames[out.worst] {
			out.worst, out.shake = i, out.frames[i]/math.Max(1, math.Min(across, along))
		}
	}
	out.near, out.foot = v.nearEdge(usual)
	return out
}

// usual is the median blur of a tile over the used frames but one; 0 when none tells.
func (v *seen) usual(but, t int, of func(*sharpness, int) float64) float64 {
	var list []float64
	for _, i := range v.used {
		if s := &v.frames[i].sharp; i != but && t < len(s.across) {
			if b := of(s, t); b > 0 {
				list = append(list, b)
			}
		}
	}
	if len(list) == 0 {
		return 0
	}
	slices.Sort(list)
	return list[(len(list)-1)/2]
}

// ratios are how many times blurrier frame i is than the others, at the tiles that both
// show.
func (v *seen) ratios(i, n int, of func(*sharpness, int) float64) (list []float64) {
	for t := range n {
		others := v.usual(i, t, of)
		if t >= len(v.frames[i].sharp.across) {
			continue
		}
		if s := of(&v.frames[i].sharp, t); s > 0 && others > 0 {
			list = append(list, math.Max(s, sharpEnough)/math.Max(others, sharpEnough))
		}
	}
	return list
}

// softer is the middle of the ratios; 0 when they are too few to tell. Four will do when
// they agree that it is bad.
func softer(list []float64) float64 {
	if len(list) < softerTiles {
		return 0
	}
	middle := middleOf(list)
	if len(list) <= fewTiles && list[len(list)/4] < softerReshot {
		return 0
	}
	return middle
}

// at is the blur of tile t in the worse direction, 0 when unknown.
func (s *sharpness) at(t int) float64 {
	if t >= len(s.across) {
		return 0
	}
	return float64(max(s.across[t], s.along[t]))
}

// nearEdge compares the lowest fifth of the upright picture, which is nearest to the
// camera, with its middle half: how many times blurrier, and how blurred, its sharper
// third is, because carpets have few sharp edges.
func (v *seen) nearEdge(usual []float64) (times, blur float64) {
	s := v.frames[v.used[0]].sharp
	var foot, middle []float64
	for t, b := range usual {
		if b == 0 {
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
	if len(foot) < fewTiles || len(middle) < fewTiles {
		return 1, 0
	}
	slices.Sort(foot)
	blur = foot[len(foot)/3]
	return blur / math.Max(sharpEnough, middleOf(middle)), blur
}

func middleOf(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}
