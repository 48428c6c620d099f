package removal

import (
	"context"
)

const (
	shallow  = 2.5 // depth of the hole at which a level is coarse enough
	smallest = 40  // pixels: shorter side of the coarsest level
)

// complete fills the hole of a level and finds, for each patch that touches it,
// where its like is.
func (l *level) complete(ctx context.Context, seed uint64) error {
	levels := []*level{l}
	for {
		last := levels[len(levels)-1]
		if min(last.w, last.h) < 2*smallest || len(levels) > 2 && last.deepest() <= shallow {
			break
		}
		next, err := last.halve(ctx)
		if err != nil {
			return err
		}
		levels = append(levels, next)
	}
	for k := len(levels) - 1; k >= 0; k-- {
		at := levels[k]
		at.prepare()
		if len(at.list) == 0 {
			if k == 0 {
				return ErrNoSource
			}
			continue
		}
		var coarse *level
		if k+1 < len(levels) && len(levels[k+1].list) > 0 {
			coarse = levels[k+1]
		}
		if err := at.settle(ctx, coarse, k == 0, seed+uint64(k)<<32); err != nil {
			return err
		}
	}
	return nil
}

// settle searches and votes in turns until the hole and its matches agree.
func (l *level) settle(ctx context.Context, coarse *level, finest bool, seed uint64) error {
	t := turn{seed: seed}
	rounds := 3
	trusted := l.weight
	l.weight = l.blind() // what the hole holds is unknown yet
	var err error
	if coarse == nil {
		err = l.peel(ctx, seed)
		t.radius = max(l.w, l.h)
		rounds = 5
	} else {
		if !l.inherit(coarse, seed) {
			return ErrNoSource
		}
		err = l.judge(ctx)
		t.radius = 16
	}
	l.weight = trusted
	if err != nil {
		return err
	}
	if finest && coarse != nil {
		rounds = 2
	}
	for i := range rounds {
		if i > 0 || coarse != nil {
			if err := l.vote(ctx); err != nil {
				return err
			}
		}
		if err := l.passes(ctx, &t, 2); err != nil {
			return err
		}
	}
	return nil
}

func (l *level) passes(ctx context.Context, t *turn, n int) error {
	for range n {
		if err := l.search(ctx, *t); err != nil {
			return err
		}
		t.number++
	}
	return nil
}

// judge works out the costs of the field as it is.
func (l *level) judge(ctx context.Context) error {
	for i, at := range l.list {
		m := &l.field[i]
		m.cost, m.gain = l.compare(int(at), int(m.at), 1e30)
		m.cost += l.farness(int(at), int(m.at))
	}
	return ctx.Err()
}

// blind trusts the known pixels only.
func (l *level) blind() []float32 {
	w := make([]float32, len(l.weight))
	for i, s := range l.state {
		if s == known {
			w[i] = 1
		}
	}
	return w
}

// trust is the sum of the weights of a patch.
func (l *level) trust(at int) float32 {
	var n float32
	for dy := -reach; dy <= reach; dy++ {
		for _, w := range l.weight[at+dy*l.w-reach : at+dy*l.w+reach+1] {
			n += w
		}
	}
	return n
}

// evenGains smooths the gains among the filled pixels, so that a change of light is
// followed without steps where the copied pieces meet.
func (l *level) evenGains(origins []origin) {
	const r = reach
	out := make([]float32, len(origins))
	for y := range l.h {
		for x := range l.w {
			at := y*l.w + x
			if origins[at].from < 0 {
				continue
			}
			var sum, n float32
			for j := max(0, y-r); j <= min(l.h-1, y+r); j++ {
				for i := max(0, x-r); i <= min(l.w-1, x+r); i++ {
					if o := origins[j*l.w+i]; o.from >= 0 {
						sum += o.gain
						n++
					}
				}
			}
			out[at] = sum / n
		}
	}
	for i := range origins {
		origins[i].gain = out[i]
	}
}
