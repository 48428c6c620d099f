package simcam

import "math"

// Shutter is a speed of a camera whose times are a third of a stop apart: the
// true time is 2^(k/3) s for the whole number k that a Shutter is, the engraved
// mark is rounded (1/125 for 1/128, 30 for 32).
type Shutter int

// The ends of the shutter's scale: 1/8000 s and 30 s as marked.
const (
	shortest = -39
	longest  = 15
)

// Seconds is the true time.
func (s Shutter) Seconds() float64 { return math.Exp2(float64(s) / 3) }

// Mark is the engraved time in seconds, as the fraction a camera writes.
func (s Shutter) Mark() (num, den uint32) {
	m := marks[max(shortest, min(longest, int(s)))-shortest]
	return m[0], m[1]
}

// Step returns the speed ev stops brighter, held to the ends of the scale.
func (s Shutter) Step(ev float64) Shutter {
	k := int(s) + int(math.RoundToEven(3*ev))
	return Shutter(max(shortest, min(longest, k)))
}

// The marks common on cameras (common practice, no source).
var marks = [longest - shortest + 1][2]uint32{
	{1, 8000}, {1, 6400}, {1, 5000}, {1, 4000}, {1, 3200}, {1, 2500}, {1, 2000}, {1, 1600}, {1, 1250},
	{1, 1000}, {1, 800}, {1, 640}, {1, 500}, {1, 400}, {1, 320}, {1, 250}, {1, 200}, {1, 160},
	{1, 125}, {1, 100}, {1, 80}, {1, 60}, {1, 50}, {1, 40}, {1, 30}, {1, 25}, {1, 20},
	{1, 15}, {1, 13}, {1, 10}, {1, 8}, {1, 6}, {1, 5}, {1, 4}, {3, 10}, {4, 10},
	{1, 2}, {6, 10}, {8, 10}, {1, 1}, {13, 10}, {16, 10}, {2, 1}, {25, 10}, {32, 10},
	{4, 1}, {5, 1}, {6, 1}, {8, 1}, {10, 1}, {13, 1}, {15, 1}, {20, 1}, {25, 1}, {30, 1},
}
