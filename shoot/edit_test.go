package shoot

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestEditsAreKeptAndUndone(t *testing.T) {
	s := made(t)
	defer s.Close()
	var view string
	if err := s.Update(ctx, func(d *Doc) error { view = d.Adopt([]Bracket{bracket("a", "b")})[0]; return nil }); err != nil {
		t.Fatal(err)
	}
	mask := filepath.Join(t.TempDir(), "mine.png")
	os.WriteFile(mask, []byte("a mask"), 0o644)
	one, err := s.AddEdit(ctx, view, Edit{Action: "remove", Kind: "cord", What: "a loose cord", Strokes: []string{"1,2 3,4 @5"}}, "")
	if err != nil || one.ID != 1 || one.At.IsZero() {
		t.Fatal(one, err)
	}
	two, err := s.AddEdit(ctx, view, Edit{Action: "remove", Kind: "bin"}, mask)
	if err != nil || two.ID != 2 || two.Mask == "" {
		t.Fatal(two, err)
	}
	if kept, err := os.ReadFile(s.Path(two.Mask)); err != nil || string(kept) != "a mask" {
		t.Errorf("the mask is not in the shoot: %v", err)
	}
	if _, err := s.AddEdit(ctx, view, Edit{Action: "soften", Kind: "face"}, ""); err != nil {
		t.Fatal(err)
	}
	d, err := Read(s.Dir())
	if err != nil || len(d.View(view).Edits) != 3 || d.View(view).Edits[0].Strokes[0] != "1,2 3,4 @5" {
		t.Fatalf("%+v, %v", d.View(view), err)
	}
	// Grouping again keeps them.
	if err := s.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a", "b", "c")}); return nil }); err != nil {
		t.Fatal(err)
	}
	if gone, err := s.UndoEdit(ctx, view, "remove", 0); err != nil || gone.ID != 2 {
		t.Errorf("undone: %+v, %v", gone, err)
	}
	if gone, err := s.UndoEdit(ctx, view, "remove", 1); err != nil || gone.ID != 1 {
		t.Errorf("undone: %+v, %v", gone, err)
	}
	if _, err := s.UndoEdit(ctx, view, "remove", 0); err == nil || !strings.Contains(err.Error(), "nothing") {
		t.Errorf("nothing is left to undo: %v", err)
	}
	if again, err := s.AddEdit(ctx, view, Edit{Action: "remove"}, ""); err != nil || again.ID != 4 {
		t.Errorf("a number was used twice: %+v, %v", again, err)
	}
	if _, err := s.AddEdit(ctx, "view-77", Edit{}, ""); err == nil || !strings.Contains(err.Error(), "view-77") {
		t.Errorf("an unknown view: %v", err)
	}
}
