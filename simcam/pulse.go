package simcam

import "math"

// Pulse is lamplight that swings with the mains while the sensor is read row by row. Its
// zero value is steady light.
type Pulse struct {
	Hertz   float64 // pulses a second: twice the mains' frequency
	Depth   float64 // 0 steady, 1 dark between the pulses
	Readout float64 // s from the first row to the last
}

// row is the share of the mean light that row y of h gets: the mean over the exposure of
// 1 + Depth sin(2 pi Hertz t), which is a wave damped by sin(x)/x.
func (p Pulse) row(y, h int, seconds, phase float64) float32 {
	if p.Depth == 0 || p.Hertz == 0 {
		return 1
	}
	x := math.Pi * p.Hertz * seconds
	t := float64(y) / float64(h) * p.Readout
	return float32(1 + p.Depth*math.Sin(x)/x*math.Sin(2*math.Pi*p.Hertz*t+phase))
}

// Speck is a grain of dust on the sensor's glass: a soft dark spot. X, Y and R (its
// standard deviation) are shares of the sensor's long edge, in the sensor's orientation.
type Speck struct {
	X, Y, R float64
	Depth   float64 // share of the light it takes in its middle
}

// dustRow darkens row y of a sensor that is w photosites wide.
func (c *Camera) dustRow(row []float32, y int) {
	w := float64(len(row))
	for _, d := range c.Dust {
		cx, cy, r := d.X*w, d.Y*w, d.R*w
		dy := float64(y) + .5 - cy
		if math.Abs(dy) > 3*r {
			continue
		}
		for x := max(0, int(cx-3*r)); x < min(len(row), int(cx+3*r)); x++ {
			dx := float64(x) + .5 - cx
			row[x] *= float32(1 - d.Depth*math.Exp(-(dx*dx+dy*dy)/(2*r*r)))
		}
	}
}
