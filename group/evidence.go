package group

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"
)

const (
	fewest = 40  // pixels below which a comparison says nothing
	plenty = 200 // pixels from which it counts in full

	// Measured over the gradients of some two thousand pairs of real and rendered
	// interiors: frames of one view agree by 0.9 or more even six stops apart, frames
	// of different views by 0.17 in the median and 0.45 at most.
	even      = 0.68 // agreement at which both answers are as likely
	slope     = 26.0
	mostSame  = 8.0 // a tripod that was moved never finds the same picture again
	mostOther = -8.0

	// doubt is the probability of a wrong boundary at which pictures are looked at.
	doubt = 0.003
	// near is how many frames on each side of a boundary may speak about it.
	near = 4
	// sameBrightness is the difference in EV below which two frames of unknown
	// exposure of the same view are taken for the same exposure.
	sameBrightness = 0.1
	// goesOn is the score of exposures from which two brackets in a row may be one,
	// taken in two bursts within rest seconds, whatever the pause.
	goesOn = -5.5
	rest   = 600
)

// album keeps the sketches and comparisons that were needed.
type album struct {
	frames []Frame
	ctx    context.Context
	thumb  Thumb
	once   []sync.Once
	sketch []*sketch
	pairs  map[[2]int]likeness
}

func newAlbum(ctx context.Context, frames []Frame, thumb Thumb) *album {
	return &album{frames: frames, ctx: ctx, thumb: thumb, once: make([]sync.Once, len(frames)), sketch: make([]*sketch, len(frames)), pairs: map[[2]int]likeness{}}
}

// get returns a frame's sketch, or nil when there is none to be had.
func (a *album) get(i int) *sketch {
	a.once[i].Do(func() {
		if a.thumb == nil || a.ctx.Err() != nil {
			return
		}
		thumb, err := a.thumb(a.ctx, i)
		if err != nil || thumb == nil || thumb.W < 8 || thumb.H < 8 {
			return
		}
		if s, err := newSketch(a.ctx, thumb); err == nil {
			a.sketch[i] = s
		}
	})
	return a.sketch[i]
}

// fetch makes the sketches of several frames, on all cores.
func (a *album) fetch(ctx context.Context, frames map[int]bool) error {
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range frames {
		g.Go(func() error { a.get(i); return ctx.Err() })
	}
	return g.Wait()
}

// compare returns the likeness of two frames; with no pixels when one of them has
// no picture.
func (a *album) compare(i, j int) likeness {
	if l, ok := a.pairs[[2]int{i, j}]; ok {
		return l
	}
	p, q := a.get(i), a.get(j)
	var l likeness
	if p != nil && q != nil {
		l = compareSketches(p, q)
	}
	a.pairs[[2]int{i, j}] = l
	return l
}

// weigh turns a likeness into the logarithm of the odds that it is one view.
func weigh(l likeness) float64 {
	if l.pixels < fewest {
		return 0
	}
	s := slope * (l.agree - even)
	s = max(mostOther, min(mostSame, s))
	return s * min(1, float64(l.pixels)/plenty)
}

// lookWhereInDoubt compares pictures at the boundaries that times and exposures
// leave open, and cuts again, until no new boundary comes into doubt.
func (r *run) lookWhereInDoubt(ctx context.Context, h habits) error {
	if r.album.thumb == nil {
		return nil
	}
	for range 3 {
		fresh := false
		need := map[int]bool{}
		for k := 1; k < len(r.frames); k++ {
			open := r.cuts[k] > doubt && r.cuts[k] < 1-doubt || r.couldGoOn(k)
			if open && (r.content == nil || r.content[k] == 0) {
				if r.content == nil {
					r.content = make([]float64, len(r.frames))
				}
				r.content[k] = 1
				fresh = true
				r.summon(k, need)
			}
		}
		if !fresh {
			return nil
		}
		if err := r.album.fetch(ctx, need); err != nil {
			return err
		}
		r.cut(h)
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// couldGoOn reports whether the bracket that ends before frame k and the one that
// starts there could be one by their exposures alone: a range too wide for the
// camera's own bracketing is taken in several bursts, with a walk to the camera
// in between.
func (r *run) couldGoOn(k int) bool {
	v := slices.Index(r.ends, k)
	if v < 0 || v+1 >= len(r.ends) || r.gap[k] > rest {
		return false
	}
	i, j := 0, r.ends[v+1]
	if v > 0 {
		i = r.ends[v-1]
	}
	return j-i > 2 && j-i <= longest && known(r.ev[i:j]) && r.exposures(i, j) > goesOn
}

// summon adds the frames that will be asked about boundary k.
func (r *run) summon(k int, need map[int]bool) {
	lo, hi := max(0, k-near), min(len(r.frames), k+near)
	if known(r.ev[lo:hi]) {
		a, b := r.witnesses(k, lo, hi)
		lo, hi = a, a+1
		need[r.index[b]], need[r.index[k-1]], need[r.index[k]] = true, true, true
	}
	for _, i := range r.index[lo:hi] {
		need[i] = true
	}
}

// pictures weighs what the pictures say about frames i to j as one view: at every
// boundary in doubt, the two frames across it that are exposed most alike, and the
// two that meet there when these are clearly strangers.
func (r *run) pictures(i, j int) float64 {
	s := 0.0
	for k := i + 1; k < j; k++ {
		if r.content[k] == 0 {
			continue
		}
		a, b := r.witnesses(k, max(i, k-near), min(j, k+near))
		w := weigh(r.album.compare(r.index[a], r.index[b]))
		if w > 0 && (a != k-1 || b != k) { // nobody else may stand between two that agree
			if next := weigh(r.album.compare(r.index[k-1], r.index[k])); next < -1 {
				w = next
			}
		}
		s += w
		if !known(r.ev[i:j]) && r.brightnessRepeats(k, max(i, k-near), min(j, k+near)) {
			s += repeated
		}
	}
	return s
}

// brightnessRepeats reports whether frames on both sides of boundary k look like
// one exposure of one picture.
func (r *run) brightnessRepeats(k, lo, hi int) bool {
	for p := lo; p < k; p++ {
		for q := k; q < hi; q++ {
			l := r.album.compare(r.index[p], r.index[q])
			if l.agree > 0.9 && l.pixels >= plenty && math.Abs(l.ev) < sameBrightness {
				return true
			}
		}
	}
	return false
}

// witnesses picks one frame on each side of boundary k, from lo to hi: those with
// the closest exposures, or where these are unknown those with most in common.
func (r *run) witnesses(k, lo, hi int) (a, b int) {
	a, b = k-1, k
	best := math.Inf(1)
	for p := k - 1; p >= lo; p-- {
		for q := k; q < hi; q++ {
			d := math.Abs(r.ev[p] - r.ev[q])
			if math.IsNaN(d) {
				d = -float64(r.album.compare(r.index[p], r.index[q]).pixels)
			}
			if d < best-0.1 {
				best, a, b = d, p, q
			}
		}
	}
	return a, b
}
