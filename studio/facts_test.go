package studio

import "testing"

// True times are powers of two and their third parts; they are shown as cameras name
// them. The pairs are common practice, no source.
func TestExposureTime(t *testing.T) {
	for s, want := range map[float64]string{
		0: "", 1. / 8192: "1/8000 s", 1. / 128: "1/125 s", 1. / 101.6: "1/100 s", 1. / 64: "1/60 s", 1. / 25.4: "1/25 s",
		.3968: "1/2.5 s", .5: "0.5 s", .63: "0.6 s", 1.26: "1.3 s", 2.52: "2.5 s", 16: "15 s", 32: "30 s", 64: "64 s",
	} {
		if got := exposureTime(s); got != want {
			t.Errorf("%g s is shown as %q, want %q", s, got, want)
		}
	}
}
