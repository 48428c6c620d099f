package finish

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Whoever has looked at a view in full size and changes its light looks again without a
// merge, here even without the frames, and sees what a merge would have given.
func TestFullAgainMergesNothing(t *testing.T) {
	dir, views := previewShoot(t, .3)
	v := views[1]
	p := NewPreviews(dir, 1<<30)
	begin := time.Now()
	if _, err := p.Full(t.Context(), v); err != nil {
		t.Fatal(err)
	}
	first := time.Since(begin)
	v.Decisions.RoomEV = number(.4)
	want, err := NewPreviews(dir, 1<<30).Full(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(dir, "cache", "full")); err != nil {
		t.Fatal(err)
	}
	for _, path := range p.paths(v) {
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	begin = time.Now()
	got, err := p.Full(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("the first took %v, the second %v", first, time.Since(begin))
	if !bytes.Equal(got, want) {
		t.Error("the picture differs from what the frames give")
	}
	if _, err := p.Full(t.Context(), views[0]); err != nil {
		t.Fatal(err)
	}
	v.Decisions.RoomEV = number(.2)
	if _, err := p.Full(t.Context(), v); err == nil {
		t.Error("another view was looked at since, and still no frame was missed")
	}
}
