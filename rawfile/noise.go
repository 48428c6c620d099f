package rawfile

import (
	"io"

	"mullion/metadata/ifd"
)

// Tags of the DNG specification 1.6.
const (
	tagCFAPlaneColour = 50710
	tagNoiseProfile   = 51041
)

// noiseProfile reads a DNG's NoiseProfile: variance = S*x + O for x in 0..1 between
// black and white, one pair for all colours or one a colour in the order of
// CFAPlaneColor. LibRaw does not pass it on.
func noiseProfile(r io.ReaderAt, s sensor) (out [3]struct{ S, O float64 }, ok bool) {
	if !s.digitalNeg {
		return out, false
	}
	dirs, err := ifd.Read(r)
	if err != nil {
		return out, false
	}
	for i := range dirs {
		e, found := dirs[i].Find(tagNoiseProfile)
		if !found {
			continue
		}
		order := []float64{0, 1, 2}
		if p, has := dirs[i].Find(tagCFAPlaneColour); has && p.Len() == 3 {
			order = p.Floats()
		}
		return parseNoise(e.Floats(), order)
	}
	return out, false
}

func parseNoise(v, planes []float64) (out [3]struct{ S, O float64 }, ok bool) {
	if len(v) != 2 && len(v) != 6 || len(planes) != 3 {
		return out, false
	}
	for i := range 3 {
		k := i * 2 % len(v)
		s, o := v[k], v[k+1]
		if !(s > 0 && s < 1 && o >= 0 && o < 1) {
			return out, false
		}
		c := int(planes[i])
		if c < 0 || c > 2 {
			return out, false
		}
		out[c].S, out[c].O = s, o
	}
	return out, out[0].S > 0 && out[1].S > 0 && out[2].S > 0
}
