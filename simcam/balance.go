package simcam

import (
	"math"

	"mullion/colour"
	"mullion/internal/raster"
)

// Balance says how the camera sets the as-shot white balance it writes down.
type Balance int

const (
	// BalanceAuto guesses from the picture, as cameras do, and is wrong by as much.
	BalanceAuto Balance = iota
	// BalanceDaylight is fixed at D65.
	BalanceDaylight
	// BalanceTruth is the neutral of the view's true mixed light.
	BalanceTruth
	// BalanceTungsten is fixed at a lamp of about 2900 K.
	BalanceTungsten
)

// tungsten is linear BT.2020 of white under a lamp, from (1.62, 0.90, 0.26) in
// BT.709.
var tungsten = bt2020FromBT709.Apply(colour.Vec3{1.62, .90, .26})

// auto is a grey-world guess that trusts itself only part of the way: the mean
// colour of the middle tones, placed between daylight and tungsten on a
// logarithmic scale, each channel held to -0.25..0.72 of the way.
func (c *Camera) auto(cam *raster.RGB) colour.Vec3 {
	lo, hi := float32(quantile(cam[1], .20)), float32(quantile(cam[1], .85))
	var r, b float64
	n := 0
	for y := range cam.H() {
		cr, cg, cb := cam[0].Row(y), cam[1].Row(y), cam[2].Row(y)
		cr, cb = cr[:len(cg)], cb[:len(cg)]
		for x, g := range cg {
			if g > lo && g < hi {
				r += float64(cr[x] / g)
				b += float64(cb[x] / g)
				n++
			}
		}
	}
	day, lamp := c.Neutral(colour.Vec3{1, 1, 1}), c.Neutral(tungsten)
	if n == 0 {
		return day
	}
	way := func(i int, mean float64) float64 {
		at := math.Log(mean/day[i]) / math.Log(lamp[i]/day[i])
		return day[i] * math.Pow(lamp[i]/day[i], max(-.25, min(.72, at)))
	}
	return colour.Vec3{way(0, r/float64(n)), 1, way(2, b/float64(n))}
}
