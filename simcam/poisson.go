package simcam

import (
	"math"
	"math/rand/v2"
	"sync"
)

// poisson returns a sample of the Poisson distribution of the given mean, 0 to
// fewElectrons. The sum of two Poisson numbers is a Poisson number of the summed
// mean: the whole part comes from a table, the rest from a short search.
func poisson(rng *rand.Rand, mean float64) int {
	whole := int(mean)
	n := 0
	if whole > 0 {
		n = poissonTables()[whole].draw(rng)
	}
	rest := mean - float64(whole)
	if rest <= 0 {
		return n
	}
	u, p, k := rng.Float64(), math.Exp(-rest), 0
	for u >= p && k < 32 {
		u -= p
		k++
		p *= rest / float64(k)
	}
	return n + k
}

// cdfTable inverts a cumulative distribution: start tells where the search for a
// uniform number begins.
type cdfTable struct {
	cdf   []float64
	start [256]uint8
}

func (t *cdfTable) draw(rng *rand.Rand) int {
	u := rng.Float64()
	k := int(t.start[int(u*256)])
	for k < len(t.cdf)-1 && u >= t.cdf[k] {
		k++
	}
	return k
}

var poissonTables = sync.OnceValue(func() *[fewElectrons + 1]cdfTable {
	all := new([fewElectrons + 1]cdfTable)
	for mean := 1; mean < len(all); mean++ {
		t := &all[mean]
		p, sum := math.Exp(-float64(mean)), 0.0
		for k := 0; k < 250 && sum < 1-1e-15; k++ {
			if k > 0 {
				p *= float64(mean) / float64(k)
			}
			sum += p
			t.cdf = append(t.cdf, sum)
		}
		k := 0
		for i := range t.start {
			for k < len(t.cdf)-1 && float64(i)/256 >= t.cdf[k] {
				k++
			}
			t.start[i] = uint8(k)
		}
	}
	return all
})
