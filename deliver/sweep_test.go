package deliver

import (
	"os"
	"path/filepath"
	"testing"
)

func TestSweepLeavesOnlyWhatIsShown(t *testing.T) {
	dir := t.TempDir()
	pages := filepath.Join(dir, pagesDir)
	if err := os.Mkdir(pages, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"01-hall-640.jpg", "02-attic-640.jpg", "02-attic-1280.jpg", "notes.txt", "own.jpg"} {
		if err := os.WriteFile(filepath.Join(pages, n), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	pics := []shown{{small: []small{{href: "pages/01-hall-640.jpg"}}}}
	if err := sweep(dir, pics); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]bool{
		"01-hall-640.jpg": true, "02-attic-640.jpg": false, "02-attic-1280.jpg": false, "notes.txt": true, "own.jpg": true,
	} {
		if _, err := os.Stat(filepath.Join(pages, name)); (err == nil) != want {
			t.Errorf("%s is there: %v, want %v", name, err == nil, want)
		}
	}
}
