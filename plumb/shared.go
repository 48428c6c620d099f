package plumb

import (
	"context"
	"fmt"
	"math"
	"slices"

	"mullion/internal/raster"
	"mullion/lens"
)

// passable is the confidence from which a view may speak about the lens: its lines
// don't quite agree as long as they are bent.
const passable = 0.25

// Lens estimates the distortion of a lens that no profile knows over all views
// made with it at one focal length: every view its own pose, all of them one
// distortion (Devernay & Faugeras 2001). It returns nil when the views don't
// agree on a bend that is worth taking out. The only error is the context's.
func Lens(ctx context.Context, views []Evidence) (*lens.Profile, error) {
	p, _, err := sharedLens(ctx, views)
	return p, err
}

// sharedLens is Lens that also tells how many views it is from; 0 without a profile.
func sharedLens(ctx context.Context, views []Evidence) (p *lens.Profile, n int, err error) {
	found := make([]*joint, len(views))
	err = raster.BandsOf(ctx, len(views), 1, func(a, b int) {
		for i := a; i < b; i++ {
			found[i] = newJoint(ctx, views[i])
		}
	})
	if err != nil {
		return nil, 0, err
	}
	all := slices.DeleteFunc(found, func(j *joint) bool { return j == nil })
	if len(all) == 0 {
		return nil, 0, ctx.Err()
	}
	bend, sigma := fitShared(all)
	var straight, bent float64
	for _, j := range all {
		_, e := j.likeliest(j.m)
		straight, bent = straight+j.straight, bent+e
	}
	if bent < 1.01*straight || math.Abs(bend[0]) < 3*sigma {
		return nil, 0, ctx.Err()
	}
	if p = all[0].estimated(all[0].m); p == nil {
		return nil, 0, ctx.Err()
	}
	p.Origin = origin(len(all))
	return p, len(all), ctx.Err()
}

func origin(views int) string {
	if views == 1 {
		return "estimated from the straight lines of 1 view"
	}
	return fmt.Sprintf("estimated from the straight lines of %d views", views)
}

// joint is one view in the fit of all.
type joint struct {
	*solver
	m        model
	straight float64 // evidence for the view without distortion
}

// newJoint fits the view by itself; nil when it is too poor to speak about the lens.
func newJoint(ctx context.Context, e Evidence) *joint {
	segs := e.segments()
	first := newSolver(segs, e.View)
	if len(first.obs) < 10 {
		return nil
	}
	m, ahead := first.best(ctx)
	if ctx.Err() != nil {
		return nil
	}
	s := newBender(segs, e.View)
	confidence := first.pose(m, ahead).Confidence
	if b, ok := s.bent(m); ok { // bent by itself where that's plain enough
		m, confidence = b, max(confidence, s.pose(b, ahead).Confidence)
	}
	if confidence < passable {
		return nil
	}
	s.freeBend = false
	m[bend1], m[bend2] = 0, 0
	m = s.fit(s.furnish(m))
	_, evidence := s.likeliest(m)
	s.freeBend = true
	s.prior[bend1], s.prior[bend2] = math.Inf(1), math.Inf(1) // counted once, in fitShared
	return &joint{solver: s, m: m, straight: evidence}
}

// fitShared fits the poses of all views and their one distortion: in each step
// every view's own parameters are eliminated from its normal equations, what is
// left is summed and solved, and the views follow.
func fitShared(all []*joint) (bend [2]float64, sigma float64) {
	prior := [2]float64{0.05, 0.03} // a few per cent at the corner, as in newSolver
	for step := range 14 {
		var sum [2][3]float64
		reduced := make([][][]float64, len(all))
		for v, j := range all {
			scatter := coarse / float64(step/2+1)
			if step >= 6 {
				scatter, _ = j.likeliest(j.m)
			}
			a := j.normal(j.m, scatter)
			if eliminate(a, len(a)-2) {
				reduced[v] = a
				n := len(a)
				for r := range 2 {
					for c := range 3 {
						sum[r][c] += a[n-2+r][n-2+c]
					}
				}
			}
		}
		for r := range 2 {
			w := 1 / sq(prior[r])
			sum[r][r] += w
			sum[r][2] -= w * bend[r]
		}
		det := sum[0][0]*sum[1][1] - sum[0][1]*sum[1][0]
		if !(det > 0) {
			break
		}
		sigma = 2 * math.Sqrt(sum[1][1]/det) // lines of one thing share its error
		x, ok := solve([][]float64{sum[0][:], sum[1][:]})
		if !ok {
			break
		}
		bend[0], bend[1] = bend[0]+x[0], bend[1]+x[1]
		for v, j := range all {
			j.follow(reduced[v], x)
			j.m[bend1], j.m[bend2] = bend[0], bend[1]
		}
	}
	return bend, sigma
}

// eliminate clears the first k columns below the diagonal of an augmented matrix
// that is positive definite there; false when it isn't.
func eliminate(a [][]float64, k int) bool {
	for c := range k {
		if !(a[c][c] > 1e-12) {
			return false
		}
		for r := c + 1; r < len(a); r++ {
			f := a[r][c] / a[c][c]
			for i := c; i < len(a[r]); i++ {
				a[r][i] -= f * a[c][i]
			}
		}
	}
	return true
}

// follow moves the view's own parameters as its eliminated equations say, given
// the step x of the shared ones.
func (j *joint) follow(a [][]float64, x []float64) {
	if a == nil {
		return
	}
	n := len(a)
	full := make([]float64, n)
	full[n-2], full[n-1] = x[0], x[1]
	for r := n - 3; r >= 0; r-- {
		v := a[r][n]
		for c := r + 1; c < n; c++ {
			v -= a[r][c] * full[c]
		}
		full[r] = v / a[r][r]
	}
	for i, p := range j.free()[:n-2] {
		j.m[p] += max(-0.1, min(0.1, full[i]))
	}
}
