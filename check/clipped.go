package check

import (
	"math"
	"slices"

	"mullion/internal/raster"
)

// clipping is what the darkest frame could not hold.
type clipping struct {
	window  float64 // share of the area seen through glass that clips
	area    float64 // the same as a share of the picture
	missing float64 // EV the darkest frame should have been darker
	bound   bool    // nearly all of it clips: missing is only a lower bound
	onlySky float64 // share of it that is sky, or glints
	sky     float64 // largest clipped patch that is no window and no lamp, share of the picture
	skyTop  bool    // it reaches the upper edge of the picture
	mask    []bool  // clipped pixels that count, reduced, sensor's orientation
	skyBox  box
}

func (v *seen) measureClipping() clipping {
	d := v.darkest()
	w, h := d.clip.W, d.clip.H
	c := clipping{mask: make([]bool, w*h)}
	var open []float32 // log2 luminance of what did not clip
	total, full := 0., 0.
	rest := make([]bool, w*h)
	for y := range h {
		share, level := d.clip.Row(y), v.level.Row(y)
		for x, s := range share {
			out := v.outside(x, y)
			if out >= .5 {
				total++
				full += float64(s)
				if s < .25 {
					open = append(open, level[x])
				}
			}
			if s >= .25 {
				c.mask[y*w+x] = out >= .25
				rest[y*w+x] = out < .25
			}
		}
	}
	if total > 0 {
		c.window, c.area = full/total, full/float64(w*h)
		c.missing, c.bound = missingStops(open, c.window, v.clipLevel())
		if ev, all, ok := v.beyond(d); ok {
			if c.bound = !all; all {
				c.missing = ev
			} else {
				c.missing = math.Max(ev, c.missing)
			}
		}
		c.onlySky = v.skyPart(c.mask)
	}
	for _, p := range patches(rest, w) {
		share := float64(len(p.pix)) / float64(w*h)
		if share < lampShare || share < c.sky {
			continue
		}
		c.sky = share
		c.skyBox = seenAt(v.info.Orientation, w, h, p.x0, p.y0, p.x1, p.y1)
		c.skyTop = c.skyBox.Y0 < .02
		for _, i := range p.pix {
			c.mask[i] = true
		}
	}
	return c
}

// skyPart is the share of the clipped window pixels that are sky or glints. Sky is what
// has nothing much darker above it in its pane; a glint is small.
func (v *seen) skyPart(mask []bool) float64 {
	w, h := v.level.W, v.level.H
	glint := make([]bool, len(mask))
	for _, p := range patches(mask, w) {
		if float64(len(p.pix)) < glintShare*float64(w*h) {
			for _, i := range p.pix {
				glint[i] = true
			}
		}
	}
	uw, uh := w, h
	if v.info.Orientation >= 5 {
		uw, uh = h, w
	}
	all, sky := 0, 0
	dark := v.clipLevel() - skyBelowClip
	for x := range uw {
		shown, blank, gap := 0, 0, 0
		for y := range uh {
			sx, sy := raster.Stored(v.info.Orientation, x, y, uw, uh)
			i := sy*w + sx
			switch {
			case mask[i]:
				blank++
				all++
				if glint[i] || shown*3 <= blank+uh/40 { // twigs, glazing bars and the edge of the frame come between
					sky++
				}
				gap = 0
			case v.outside(sx, sy) >= .5:
				gap = 0
				if float64(v.level.Row(sy)[sx]) < dark {
					shown++
				}
			default:
				if gap++; gap > uh/25 { // the wall between two panes
					shown, blank = 0, 0
				}
			}
		}
	}
	return float64(sky) / float64(max(1, all))
}

func (v *seen) outside(x, y int) float32 {
	if v.windows == nil || len(v.windows.Regions) == 0 {
		return 0
	}
	return v.windows.Coverage.Row(y)[x]
}

// clipLevel is log2 of the luminance, in units of 100 cd/m2 where the exposure is
// known, at which the darkest frame clips.
func (v *seen) clipLevel() float64 { return math.Log2(float64(v.merged.Clip)) }

// What is seen outside by day ends near 2^15 cd/m2: EV 15 at ISO 100 is a mid-tone of
// 4096 cd/m2 (ISO 2720 with K = 12.5; the EV of full sun: ANSI PH2.7), white is two and
// a half stops above it.
const (
	whiteInSun     = 7.5 // log2 of 100 cd/m2
	whiteInCloud   = 5.5 // two stops less (ANSI PH2.7: EV 12 to 13)
	mostMissing    = 6.0
	unknownMissing = 2.0
)

// missingStops estimates how many EV beyond level the brightest thirtieth of a window
// lies, of which a share clips. Light outside is spread about normally in EV, so
// the quantiles that were recorded tell where those that were not must lie. open is
// reordered.
func missingStops(open []float32, share, level float64) (ev float64, bound bool) {
	if share < 1e-4 {
		return 0, false
	}
	if share > .9 || len(open) < 50 {
		return math.Max(1, math.Min(mostMissing, whiteInCloud-level)), true
	}
	slices.Sort(open)
	// Half of what did not clip lies below its median: two points of one distribution.
	mid := float64(open[len(open)/2])
	z1, z2 := quantile(1-share), quantile((1-share)/2)
	sigma := math.Max(.15, math.Min(1.5, (level-mid)/(z1-z2)))
	ev = (quantile(math.Max(.97, 1-share/4)) - z1) * sigma
	most := math.Max(.5, math.Min(mostMissing, whiteInSun-level))
	return math.Max(.3, math.Min(most, ev)), false
}

// beyond measures in a raw darkest frame how many EV above clipping the brightest
// thirtieth of what clips in the windows lies. Daylight gives red, or blue, half of what
// it gives green, so that colour still tells when green is full: by as much as it exceeds
// its usual share of a full green, the light exceeds clipping. all is false when that
// colour is full too over more than a tenth of it: then ev is what can be told.
func (v *seen) beyond(d *small) (ev float64, all, ok bool) {
	if d.frame.Coded != nil {
		return 0, false, false
	}
	rgb := d.colours()
	share := func(c int) (float64, bool) { // usual log2 of the colour over green, of bright open glass
		var list []float64
		for y := range d.clip.H {
			for x, s := range d.clip.Row(y) {
				if g := rgb[1].Row(y)[x]; s == 0 && g > .15 && v.outside(x, y) >= .9 && rgb[c].Row(y)[x] > 0 {
					list = append(list, float64(raster.Log2(rgb[c].Row(y)[x]/g)))
				}
			}
		}
		if len(list) < 50 {
			return 0, false
		}
		return middleOf(list), true
	}
	red, okR := share(0)
	blue, okB := share(2)
	c, usual := 0, red
	if blue < red {
		c, usual = 2, blue
	}
	if !okR || !okB || usual > -.3 {
		return 0, false, false
	}
	var over []float64
	full, n := 0, 0
	for y := range d.clip.H {
		for x, s := range d.clip.Row(y) {
			if s < .25 || v.outside(x, y) < .5 {
				continue
			}
			n++
			if k := rgb[c].Row(y)[x]; k < clipFrom {
				over = append(over, float64(raster.Log2(max(k, 1e-6)))-usual)
			} else {
				full++
			}
		}
	}
	if n == 0 {
		return 0, false, false
	}
	if full*10 > n || len(over) == 0 {
		return -usual, false, true
	}
	slices.Sort(over)
	return math.Max(.2, over[len(over)*29/30]), true, true
}

// quantile is the inverse of the standard normal distribution.
func quantile(p float64) float64 {
	return math.Sqrt2 * math.Erfinv(2*math.Max(1e-6, math.Min(1-1e-6, p))-1)
}

// shadows is how well the brightest frame lifts the darkest parts.
type shadows struct {
	snr     float64 // of one photosite at the darkest hundredth; 0 when the file can't tell
	missing float64 // EV the brightest frame should have been brighter
	code    float64 // rendered files: code value of the darkest hundredth, 0..255
}

func (v *seen) measureShadows() shadows {
	b := v.brightest()
	x := planeQuantile(b.colours()[1], shadowShare)
	if b.frame.Coded != nil {
		s := shadows{code: 255 * x}
		if s.code < blackCode {
			s.missing = math.Log2((blackCode + 1) / (s.code + 1))
		}
		return s
	}
	return shadows{snr: b.noise.snr(x), missing: b.noise.pushed(x, shadowSNR)}
}

func planeQuantile(p *raster.Plane, q float64) float64 {
	var v []float32
	for y := 0; y < p.H; y += 3 {
		row := p.Row(y)
		for x := 0; x < len(row); x += 3 {
			v = append(v, row[x])
		}
	}
	slices.Sort(v)
	return float64(v[int(q*float64(len(v)-1))])
}
