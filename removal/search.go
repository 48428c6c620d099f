package removal

import (
	"context"

	"mullion/internal/raster"
)

// chunk is how many patches one goroutine searches in a row. A patch sees finds of
// the same turn only from its own chunk, which is what makes the result independent
// of the number of cores.
const chunk = 1024

// turn is one pass of the search over all patches of a level.
type turn struct {
	number int // even passes run forwards, odd ones backwards
	radius int // how far the random trials reach at first
	seed   uint64
}

// search improves the field by one pass.
func (l *level) search(ctx context.Context, t turn) error {
	copy(l.before, l.field)
	n := len(l.list)
	return raster.BandsOf(ctx, (n+chunk-1)/chunk, 1, func(c0, c1 int) {
		for c := c0; c < c1; c++ {
			from, to := c*chunk, min((c+1)*chunk, n)
			if t.number%2 == 0 {
				for i := from; i < to; i++ {
					l.improve(t, i, from, to, -1)
				}
			} else {
				for i := to - 1; i >= from; i-- {
					l.improve(t, i, from, to, 1)
				}
			}
		}
	})
}

// trials is how many places are tried at random at each radius.
const trials = 2

// improve tries to better patch i: with its neighbours' finds and at
// random. step is where the neighbours with news lie.
func (l *level) improve(t turn, i, from, to, step int) {
	at := int(l.list[i])
	m := l.field[i]
	m.cost, m.gain = l.compare(at, int(m.at), 1e30)
	m.cost += l.farness(at, int(m.at))
	for _, d := range [...]int{step, step * l.w, -step, -step * l.w} {
		j := int(l.index[at+d])
		if j < 0 {
			continue
		}
		near := &l.before[j]
		if j >= from && j < to {
			near = &l.field[j]
		}
		l.try(at, int(near.at)-d, &m)
	}
	r := random{t.seed ^ uint64(t.number)<<48 ^ uint64(i)<<1}
	for radius := t.radius; radius >= 1; radius /= 2 {
		for range trials {
			x, y := int(m.at)%l.w+r.within(radius), int(m.at)/l.w+r.within(radius)
			if x >= reach && y >= reach && x < l.w-reach && y < l.h-reach {
				l.try(at, y*l.w+x, &m)
			}
		}
	}
	l.field[i] = m
}

// try takes the source s for the patch at t if it is better.
func (l *level) try(t, s int, m *match) {
	if s < 0 || s >= len(l.source) || !l.source[s] || s == int(m.at) {
		return
	}
	far := l.farness(t, s)
	if far >= m.cost {
		return
	}
	if cost, gain := l.compare(t, s, m.cost-far); cost+far < m.cost {
		cost += far
		*m = match{int32(s), cost, gain}
	}
}

// scatter gives every patch a source at random. It reports false when there is none.
func (l *level) scatter(seed uint64) bool {
	var sources []int32
	for i, ok := range l.source {
		if ok {
			sources = append(sources, int32(i))
		}
	}
	if len(sources) == 0 {
		return false
	}
	for i := range l.field {
		r := random{seed ^ uint64(i)<<1}
		l.field[i] = match{at: sources[r.next()%uint64(len(sources))], cost: 1e30}
	}
	return true
}

// inherit takes the field over from the next coarser level.
func (l *level) inherit(coarse *level, seed uint64) bool {
	if !l.scatter(seed) {
		return false
	}
	for i, at := range l.list {
		x, y := int(at)%l.w, int(at)/l.w
		j := coarse.index[min(max(y/2, reach), coarse.h-1-reach)*coarse.w+min(max(x/2, reach), coarse.w-1-reach)]
		if j < 0 {
			continue
		}
		c := coarse.list[j]
		m := coarse.field[j].at
		sx := x + 2*(int(m)%coarse.w-int(c)%coarse.w)
		sy := y + 2*(int(m)/coarse.w-int(c)/coarse.w)
		if s := l.sourceNear(sx, sy); s >= 0 {
			l.field[i].at = int32(s)
		}
	}
	return true
}

// sourceNear is the source at (x, y) or within two pixels of it, or -1.
func (l *level) sourceNear(x, y int) int {
	for _, d := range [...][2]int{{0, 0}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}, {2, 0}, {-2, 0}, {0, 2}, {0, -2}} {
		sx, sy := x+d[0], y+d[1]
		if sx >= 0 && sy >= 0 && sx < l.w && sy < l.h && l.source[sy*l.w+sx] {
			return sy*l.w + sx
		}
	}
	return -1
}

// random is the splitmix64 sequence (Steele, Lea & Flood, OOPSLA 2014).
type random struct{ state uint64 }

func (r *random) next() uint64 {
	r.state += 0x9E3779B97F4A7C15
	z := r.state
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// within returns a whole number from -n to n.
func (r *random) within(n int) int { return int(r.next()%uint64(2*n+1)) - n }

// farness is the cost of the distance from t to s.
func (l *level) farness(t, s int) float32 {
	dx, dy := float32(t%l.w-s%l.w), float32(t/l.w-s/l.w)
	return nearness * l.reach2 * (dx*dx + dy*dy)
}
