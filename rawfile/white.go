package rawfile

// clippingLevel returns the count at which the data really clip. Many cameras fill
// up below the level their files (or the library's tables) name, and then a merge
// that trusts the nominal level takes clipped samples for light: windows turn
// magenta. Clipping shows as a spike at the very top of the histogram.
//
// An unclipped frame's maximum must not be taken for its white level. A real patch
// of light can't make a narrow spike: shot noise alone spreads it. A sensor of
// 100 000 electrons, larger than any in a hand-held camera, has a noise of 0.32 % of
// full scale at the top, so a spike within 0.25 % that holds most of the top 2 % is
// no scene. (Our own criterion; the noise figure is 1/sqrt(electrons).)
//
// The level of the lowest-clipping colour counts, because the mosaic has one.
func clippingLevel(h *histogram, m *Mosaic) float32 {
	black := (m.Black[0][0] + m.Black[0][1] + m.Black[1][0] + m.Black[1][1]) / 4
	span := m.White - black
	white := m.White
	if span < 1000 {
		return white // too few levels to tell a spike from a step
	}
	for c := range h {
		if v, ok := spike(h[c], black, span); ok && v < white {
			white = v
		}
	}
	return white
}

// spike looks for the pile-up of clipped samples at the top of one colour's
// histogram and returns the lowest count that belongs to it.
func spike(count []uint32, black, span float32) (float32, bool) {
	total := 0
	for _, n := range count {
		total += int(n)
	}
	enough := max(50, total/50000) // 20 in a million: a lamp's filament, not hot pixels
	top, above := len(count)-1, 0
	for ; top > 0; top-- { // skip the few hot samples above
		if above += int(count[top]); above >= enough/4 {
			break
		}
	}
	if float32(top) < black+span*0.45 { // a camera's lowest, pulled sensitivity clips at half
		return 0, false
	}
	narrow, wide := int(span/400), int(span/50)
	inNarrow := sum(count, top-narrow, len(count))
	inWide := sum(count, top-wide, len(count))
	if inNarrow < enough || float64(inNarrow) < 0.75*float64(inWide) {
		return 0, false
	}
	return float32(foot(count, top, narrow)), true
}

// foot walks down from the spike's peak in steps of an eighth of its greatest
// width, for as long as the samples are as dense as in a twentieth of the peak.
func foot(count []uint32, top, narrow int) int {
	peak := top
	for v := top - narrow; v <= top; v++ {
		if count[v] > count[peak] {
			peak = v
		}
	}
	step := max(1, narrow/8)
	low, most := peak, sum(count, peak, peak+1)
	for v := peak; v-step >= top-narrow; v -= step {
		n := sum(count, v-step, v)
		if n*20 < most {
			break
		}
		most = max(most, n)
		low = v - step
	}
	return low
}

func sum(count []uint32, from, to int) int {
	n := 0
	for _, c := range count[max(from, 0):to] {
		n += int(c)
	}
	return n
}
