package finish

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"mullion/demo"
	"mullion/simcam"
)

// testdata is a path below the folder of data that is not part of the project, or
// skips the test.
func testdata(tb testing.TB, parts ...string) string {
	tb.Helper()
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		tb.Skip("MULLION_TESTDATA is not set: it names the folder that holds demo-house/ and realdata/")
	}
	return filepath.Join(append([]string{dir}, parts...)...)
}

// scenes are views of the invented house.
func scenes(tb testing.TB, names ...string) []simcam.View {
	tb.Helper()
	var out []simcam.View
	for _, n := range names {
		v, err := demo.Truth(n)
		if err != nil {
			tb.Fatal(err)
		}
		out = append(out, v.Scene())
	}
	return out
}

// photograph fills a card and returns the truth about its frames with the paths of
// their files.
func photograph(tb testing.TB, dir string, s simcam.Settings, views ...simcam.View) ([]simcam.Shot, []string) {
	tb.Helper()
	shots, err := simcam.LF1().Shoot(context.Background(), dir, views, s, nil)
	if err != nil {
		tb.Fatal(err)
	}
	var paths []string
	for _, s := range shots {
		paths = append(paths, filepath.Join(dir, filepath.FromSlash(simcam.Folder), s.File))
	}
	return shots, paths
}

// small are settings for tests of the job's order rather than of its pictures:
// 540 x 360 pixels, three frames a view.
func small() simcam.Settings {
	s := simcam.Defaults()
	s.Scale, s.EV = .3, []float64{-2.667, 0, 2.667}
	return s
}

// smallCard is a card with two small views, made once and copied for every test.
func smallCard(t *testing.T) string {
	t.Helper()
	master := made.card(t)
	dir := filepath.Join(t.TempDir(), "card")
	if err := os.CopyFS(dir, os.DirFS(master)); err != nil {
		t.Fatal(err)
	}
	return dir
}

// made is what several tests share; it lies in one folder that TestMain removes.
var made shared

type shared struct {
	root  string
	small sync.Once
	house sync.Once

	report *Report
}

func (s *shared) card(t *testing.T) string {
	dir := filepath.Join(s.root, "small")
	s.small.Do(func() { photograph(t, dir, small(), scenes(t, "bath", "guest")...) })
	return dir
}

func TestMain(m *testing.M) {
	var err error
	if made.root, err = os.MkdirTemp("", "mullion-finish-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(made.root)
	os.Exit(code)
}

// run does a job that must end without an error.
func run(t *testing.T, job Job) *Report {
	t.Helper()
	r, err := Run(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sound fails the test when anything of a run failed.
func sound(t *testing.T, r *Report, views int) {
	t.Helper()
	for _, f := range r.Failed {
		t.Errorf("%s failed: %s", f.What, f.Why)
	}
	if len(r.Views) != views {
		t.Fatalf("%d views, want %d", len(r.Views), views)
	}
	for _, v := range r.Views {
		if len(v.Files) == 0 {
			t.Errorf("%s has no files", v.ID)
		}
		for _, f := range v.Files {
			if info, err := os.Stat(f.Path); err != nil || info.Size() != f.Bytes {
				t.Errorf("%s: %s is not there as reported (%v)", v.ID, f.Path, err)
			}
		}
	}
}

// entry is what must not change about a file that nobody should touch.
type entry struct {
	sum string
	at  time.Time
}

// tree is every file below a folder by its path.
func tree(tb testing.TB, dir string) map[string]entry {
	tb.Helper()
	out := map[string]entry{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = entry{fmt.Sprintf("%x", sha256.Sum256(b)), info.ModTime()}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// untouched fails the test unless a folder is what it was.
func untouched(t *testing.T, dir string, before map[string]entry) {
	t.Helper()
	after := tree(t, dir)
	for path, was := range before {
		switch is, ok := after[path]; {
		case !ok:
			t.Errorf("%s is gone", path)
		case is.sum != was.sum:
			t.Errorf("%s was changed", path)
		case !is.at.Equal(was.at):
			t.Errorf("%s was written again", path)
		}
	}
	for path := range after {
		if _, ok := before[path]; !ok {
			t.Errorf("%s is new", path)
		}
	}
}

// pictures are the delivered JPEG files below a folder, without those that belong to
// a gallery page.
func pictures(tb testing.TB, dir string) []string {
	tb.Helper()
	var out []string
	for _, path := range slices.Sorted(maps.Keys(tree(tb, dir))) {
		if strings.HasSuffix(path, ".jpg") && !strings.Contains("/"+path, "/pages/") {
			out = append(out, path)
		}
	}
	return out
}
