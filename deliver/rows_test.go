package deliver

import (
	"bytes"
	"math/rand/v2"
	"testing"
)

// The fast rows give what the Go rows give, to the last bit, at every width.
func TestFastRows(t *testing.T) {
	if !fast {
		t.Skip("no fast rows on this processor")
	}
	defer func() { fast = true }()
	r := rand.New(rand.NewPCG(3, 4))
	for w := 1; w < 100; w++ {
		var rows [3][]float32
		for i := range rows {
			rows[i] = make([]float32, w)
			for x := range rows[i] { // walls with grain, and steps
				rows[i][x] = float32(int(4*r.Float32()))/4 + 0.02*r.Float32()
			}
		}
		column := make([]float32, w+2)
		for i := range column {
			x := max(0, min(w-1, i-1))
			column[i] = rows[0][x] + 2*rows[1][x] + rows[2][x]
		}
		var add [2][]float32
		var out [2][]byte
		start := [3]float32{0.1, 0.5, 0.9}
		for i := range add {
			fast = i == 0
			add[i], out[i] = make([]float32, w), make([]byte, 3*w)
			detailRow(add[i], rows[0], rows[1], rows[2], column, 0.7)
			quantiseRow(out[i], &rows, add[i], ditherRow(w), &start)
		}
		for x := range w {
			if add[0][x] != add[1][x] {
				t.Fatalf("width %d: %g is added to sample %d, by the Go row %g", w, add[0][x], x, add[1][x])
			}
		}
		if !bytes.Equal(out[0], out[1]) {
			t.Fatalf("width %d: %v, by the Go row %v", w, out[0], out[1])
		}
	}
}
