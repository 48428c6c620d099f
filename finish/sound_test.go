package finish

import (
	"testing"

	"mullion/internal/raster"
)

// A cell of a mosaic is one pixel of its three colours, its two greens averaged,
// whichever corner the pattern begins in; an odd row or column is left out.
func TestCells(t *testing.T) {
	for _, cfa := range [][2][2]uint8{{{0, 1}, {1, 2}}, {{1, 0}, {2, 1}}, {{2, 1}, {1, 0}}, {{1, 2}, {0, 1}}} {
		m := raster.New(7, 5)
		for y := range m.H {
			for x := range m.W {
				m.Row(y)[x] = float32(100*int(cfa[y%2][x%2]) + 10*(y/2) + x/2)
				if cfa[y%2][x%2] == 1 && y%2 == 1 {
					m.Row(y)[x] += 4 // the second green, two above the mean
				}
			}
		}
		got, err := cells(t.Context(), m, cfa)
		if err != nil {
			t.Fatal(err)
		}
		if got.W() != 3 || got.H() != 2 {
			t.Fatalf("%d x %d", got.W(), got.H())
		}
		for c := range got {
			for y := range 2 {
				for x, v := range got[c].Row(y) {
					want := float32(100*c + 10*y + x)
					if c == 1 {
						want += 2
					}
					if v != want {
						t.Errorf("pattern %v, colour %d at %d,%d: %g, want %g", cfa, c, x, y, v, want)
					}
				}
			}
		}
	}
}
