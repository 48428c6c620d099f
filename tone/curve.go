package tone

import "math"

// The tone curve takes log2 luminance above the wall to log2 display luminance.
// A wall lies at 77.5 % of the display's code values (common practice, no source:
// white walls at 75 to 85 %). Above it the shoulder nears display white without
// reaching it; below it the slope is a little under one, so that corners open
// up, and far below it rises again, so that black stays black.
const (
	wallCode  = 0.775
	slope     = 0.88
	toeStart  = 2.0  // EV under the wall
	toeSlope  = 0.60 // added below it
	toeWidth  = 0.6
	shoulderN = 2
)

var (
	wallLog   = math.Log2(decode(wallCode))
	toeAtWall = toeWidth * math.Log1p(math.Exp(-toeStart/toeWidth))
)

// decode is the sRGB curve, IEC 61966-2-1.
func decode(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// toneCurve is the curve with the reach it needs for one view. In a view with deep
// shadows over a large part what lies far below the walls is drawn together by low; 1
// is none. What lies far above them has been drawn in before the curve (see glow).
type toneCurve struct{ low float64 }

const (
	lowStart, lowReach = 1.0, 4.6 // EV below the wall
	leastLow           = 0.60
)

// reach returns the curve that brings the level dark, in EV above the wall, within the
// range of the plain curve.
func reach(dark float64) toneCurve {
	c := toneCurve{1}
	if dark < -lowReach {
		c.low = max(leastLow, (lowReach-lowStart)/(-dark-lowStart))
	}
	return c
}

// at returns log2 display luminance for x EV above the wall.
func (c toneCurve) at(x float64) float64 {
	if x < -lowStart {
		x = -lowStart + (x+lowStart)*c.low
	}
	if x > 0 {
		return wallLog / math.Pow(1+slope*x/(-wallLog*shoulderN), shoulderN)
	}
	toe := toeWidth * math.Log1p(math.Exp((-x-toeStart)/toeWidth))
	return wallLog + slope*x - toeSlope*(toe-toeAtWall)
}

func (c toneCurve) slope(x float64) float64 {
	const d = 0.05
	return (c.at(x+d) - c.at(x-d)) / (2 * d)
}

// lightness is CIE L* (CIE 15) of a display luminance given as log2.
func lightness(log float64) float64 {
	y := math.Exp2(log)
	if y > 216./24389 {
		return 116*math.Cbrt(y) - 16
	}
	return y * 24389 / 27
}
