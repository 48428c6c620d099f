package bracket

import "mullion/rawfile"

// curves linearise a rendered file by table: code (0..1 of full scale) to linear
// light (1 at full scale), one table a channel.
type curves struct {
	tables   [3][]float32
	scale    float32 // codes a unit
	clipCode float32 // code from which a sample counts as clipped
}

// profileCurves are those the file's profile declares.
func profileCurves(c *rawfile.Coded) *curves {
	n := 256
	if c.Bits > 8 {
		n = 4096
	}
	k := newCurves(n)
	for ch := range k.tables {
		for i := range k.tables[ch] {
			k.tables[ch][i] = c.ToLinear[ch](float32(i) / float32(n-1))
		}
	}
	return k
}

func newCurves(n int) *curves {
	k := &curves{scale: float32(n - 1), clipCode: 0.985}
	for ch := range k.tables {
		k.tables[ch] = make([]float32, n)
	}
	return k
}

func (c *curves) at(ch int, code float32) float32 {
	t := c.tables[ch]
	i := int(code*c.scale + 0.5)
	if i < 0 {
		i = 0
	}
	if i >= len(t) {
		i = len(t) - 1
	}
	return t[i]
}
