package finish

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/internal/raster"
	"mullion/record"
	"mullion/shoot"
)

// TestRemovalFromShootToDelivery takes something out of a view, looks at all that the
// delivery says about it, and takes it back.
func TestRemovalFromShootToDelivery(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	job := Job{Card: card, Shoot: dir, Keys: t.TempDir(), Version: "test"}
	plain := run(t, job)
	sound(t, plain, 2)
	view := plain.Views[1]
	before, err := os.ReadFile(view.Files[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	change(t, dir, func(s *shoot.Shoot) error {
		w, h, err := FrameSize(t.Context(), s.Path(s.Doc().View(view.ID).Frames[1].Path))
		if err != nil {
			return err
		}
		_, err = s.AddEdit(t.Context(), view.ID, shoot.Edit{
			Action: "remove", Kind: "cord", What: "a loose cord", Frame: [2]int{w, h}, Strokes: []string{"150,250 250,300 @8"}, Version: "test",
		}, "")
		return err
	})
	altered := run(t, job)
	sound(t, altered, 2)
	if !altered.Views[0].Kept || altered.Views[1].Kept {
		t.Error("the wrong view was made again")
	}
	path := altered.Views[1].Files[0].Path
	twin, err := os.Stat(record.TwinName(path))
	if err != nil || twin.Size() == 0 {
		t.Fatalf("no unaltered twin: %v", err)
	}
	after, err := os.ReadFile(path)
	if err != nil || string(after) == string(before) {
		t.Errorf("the picture is the same as before, %v", err)
	}
	if !strings.Contains(string(after), "humanEdits") || !strings.Contains(string(after), "a loose cord was taken out") {
		t.Error("the file does not say that it was altered")
	}
	delivery := filepath.Dir(path)
	v, err := record.Verify(t.Context(), delivery, dir)
	if err != nil || !v.OK() || v.Originals != 6 {
		t.Fatalf("the delivery does not verify: %+v, %v", v.Faults, err)
	}
	p := v.Record.Pictures[1]
	if p.Unaltered != filepath.Base(record.TwinName(path)) || len(p.Edits) != 1 || p.Edits[0].Where.W < 10 || p.Edits[0].Where.W > 40 {
		t.Errorf("the record says %+v", p)
	}
	page, err := os.ReadFile(filepath.Join(delivery, "index.html"))
	if err != nil || !strings.Contains(string(page), p.Unaltered) {
		t.Errorf("the gallery has no link to the unaltered picture, %v", err)
	}

	change(t, dir, func(s *shoot.Shoot) error { _, err := s.UndoEdit(t.Context(), view.ID, "remove", 0); return err })
	undone := run(t, job)
	sound(t, undone, 2)
	if _, err := os.Stat(record.TwinName(path)); err == nil {
		t.Error("the twin of a removal that was taken back is still there")
	}
	if again, err := os.ReadFile(path); err != nil || string(again) != string(before) {
		t.Errorf("after undoing, the picture is not what it was, %v", err)
	}
	if v, err := record.Verify(t.Context(), delivery, dir); err != nil || !v.OK() || len(v.Record.Pictures[1].Edits) != 0 {
		t.Errorf("after undoing: %+v, %v", v.Faults, err)
	}
}

func change(t *testing.T, dir string, fn func(*shoot.Shoot) error) {
	t.Helper()
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := fn(s); err != nil {
		t.Fatal(err)
	}
}

// TestSeenAtFollowsTheOrientation checks the places of edits against the pixels.
func TestSeenAtFollowsTheOrientation(t *testing.T) {
	for o := 1; o <= 8; o++ {
		stored := raster.New(7, 5)
		for i := range stored.Pix {
			stored.Pix[i] = float32(i)
		}
		up := raster.Upright(stored, o)
		for y := range stored.H {
			for x := range stored.W {
				ux, uy := seenAt(o, float64(x)+.5, float64(y)+.5, float64(up.W), float64(up.H))
				if got := up.At(int(ux), int(uy)); got != stored.At(x, y) {
					t.Fatalf("orientation %d: stored pixel %d,%d is not at %g,%g", o, x, y, ux, uy)
				}
			}
		}
	}
}
