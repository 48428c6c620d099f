package removal

import (
	"testing"

	"mullion/internal/raster"
)

// A fill is the same to the last bit on a processor without the fast comparison.
func TestFillIsTheSameWithoutFast(t *testing.T) {
	if !fast {
		t.Skip("no fast comparison on this processor")
	}
	defer func() { fast = true }()
	var fills [2]*raster.RGB
	for i := range fills {
		fast = i == 0
		fills[i] = floorBoards(300, 240)
		mask := raster.New(300, 240)
		mask.Crop(100, 110, 120, 12).Fill(1)
		if _, err := Fill(ctx, fills[i], mask, Options{}); err != nil {
			t.Fatal(err)
		}
	}
	was := floorBoards(300, 240)
	changed := 0
	for c := range was {
		for y := range was.H() {
			for x, v := range fills[0][c].Row(y) {
				if v != fills[1][c].Row(y)[x] {
					t.Fatalf("colour %d at (%d, %d) is %g, without the fast comparison %g", c, x, y, v, fills[1][c].Row(y)[x])
				}
				if v != was[c].Row(y)[x] {
					changed++
				}
			}
		}
	}
	if changed < 3*120*12/2 {
		t.Errorf("only %d samples were filled", changed)
	}
}
