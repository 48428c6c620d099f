package whitebalance

import (
	"math"

	"mullion/colour"
)

// A rendered file has been balanced by the camera, once for the whole picture. What is
// left in it is an error of that one balance, the same in the room and beyond the
// glass, and the difference between two lights. So the main light found is believed
// only as far as it is plain and sure, the local light is held near it, and the glass
// follows the room as far as its own colours agree.

// localReach is how far, in log chroma, the local light of a rendered file may lie from
// its main light: about 60 mired. It is approached softly.
const localReach = 0.3

// trustRendered is how much of a light found in a picture that the camera has
// balanced already is taken out: little of a small one, which may be the
// photographer's choice, most of a plain cast, less of one so strong that no camera
// leaves it (then it is the paint), and none when the finding is a guess. D65 is the
// origin of chroma.
func trustRendered(main chroma, confidence float64) float64 {
	size := math.Hypot(main[0], main[1])
	plausible := 1 / math.Sqrt(1+(size/worstCamera)*(size/worstCamera))
	return (1 - kernel(main, 0.2)) * plausible * ramp(confidence, 0.3, 0.7)
}

// castLine is the direction, in log chroma, of the cast that is left when a camera
// balances for a cooler light than there is. It is that of the difference of two lights
// on the Planckian locus, all but the same for any two between 2700 and 6500 K.
var castLine = func() chroma {
	d := chromaOf(colour.Light(3500, 0)).minus(chromaOf(colour.Light(5500, 0)))
	return d.times(1 / math.Hypot(d[0], d[1]))
}()

// greenTrust is how much of a cast's green part is taken out when all of the rest is.
// Cameras see to green themselves, and yellow paint looks the same; taken out in vain
// it leaves magenta walls.
const greenTrust = 0.6

// fromRendered is the part of the light c that is taken out of a rendered file when it
// is believed as far as trust.
func fromRendered(c chroma, trust float64) chroma {
	along := c[0]*castLine[0] + c[1]*castLine[1]
	off := c.minus(castLine.times(along))
	if off[0] < 0 { // less red than the line: green
		off = off.times(greenTrust)
	}
	return castLine.times(along).plus(off).times(trust)
}

// worstCamera is the error of a camera's automatic balance, in log chroma, beyond which
// it is not believed: about 100 mired. Common practice, no source.
const worstCamera = 0.5

// holdNear draws the field towards the main light.
func (f field) holdNear(main chroma) {
	for i := range f.plane[0].Pix {
		c := chroma{float64(f.plane[0].Pix[i]), float64(f.plane[1].Pix[i])}.minus(main)
		s := 1 / math.Sqrt(1+(c[0]*c[0]+c[1]*c[1])/(localReach*localReach))
		c = main.plus(c.times(s))
		f.plane[0].Pix[i], f.plane[1].Pix[i] = float32(c[0]), float32(c[1])
	}
}

// glassLight is the light by which a rendered file's glass is balanced: the room's
// cast, as far as the glass shows it too.
func (v *view) glassLight(main chroma, trust float64) chroma {
	g, n := v.glassMean()
	size := main[0]*main[0] + main[1]*main[1]
	if n == 0 || size < 1e-6 {
		return fromRendered(main, trust)
	}
	share := (g[0]*main[0] + g[1]*main[1]) / size
	return fromRendered(main, trust*math.Max(0, math.Min(1, share)))
}

// glassMean is the mean chroma of what lies beyond the glass, and of how many samples.
func (v *view) glassMean() (mean chroma, n float64) {
	for i, g := range v.glass {
		if g > 0.9 {
			mean = mean.plus(v.at(i).chroma())
			n++
		}
	}
	return mean.times(1 / math.Max(n, 1)), n
}
