package check

import "testing"

// speckled is a view's trace with one dark place, of a composition told by seed.
func speckled(seed int) *View {
	const w, h = 40, 30
	s := &specks{w: w, h: h, dark: make([]int8, w*h), sure: make([]uint8, w*h), hit: make([]uint64, (w*h+63)/64)}
	at := 12*w + 20
	for i := range s.sure {
		s.sure[i] = 100
	}
	s.dark[at] = -40
	s.hit[at/64] |= 1 << (at % 64)
	tiny := make([]float32, tinyW*tinyH)
	tiny[seed] = 1
	return &View{trace: trace{dust: s, tiny: tiny}}
}

// What stands at the same place in one composition taken four times is no dust; in four
// compositions it is.
func TestDustNeedsCompositions(t *testing.T) {
	if got := dust([]*View{speckled(1), speckled(1), speckled(1), speckled(1)}); len(got) != 0 {
		t.Errorf("%d spots in one composition", len(got))
	}
	if got := dust([]*View{speckled(1), speckled(2), speckled(3), speckled(4)}); len(got) != 1 {
		t.Errorf("%d spots in four compositions", len(got))
	}
}
