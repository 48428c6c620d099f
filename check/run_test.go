package check

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"mullion/internal/raster"
	"mullion/jobfile"
	"mullion/simcam"
)

// A check that is told to stop stops, at any moment.
func TestStops(t *testing.T) {
	dir := t.TempDir()
	if _, err := simcam.LF1().ShootFaulty(t.Context(), dir, scenes(t, "bath", "shower"), simcam.Defaults(), nil); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	_, err := Run(ctx, dir, Options{View: func(*View) { stop() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("stopped after the first view: %v", err)
	}
	if _, err := Run(ctx, dir, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped before it began: %v", err)
	}
}

// A covered lens between two views is a mark, not a view; a folder without pictures is
// an error.
func TestMarkAndNothing(t *testing.T) {
	if _, err := Run(t.Context(), t.TempDir(), Options{}); err == nil {
		t.Error("an empty folder was checked")
	}
	dark := []simcam.View{{Name: "lens cap", FocalMM: 16, Scenes: []simcam.Scene{func(context.Context) (*raster.RGB, error) {
		m := raster.NewRGB(600, 400)
		for _, p := range m {
			p.Fill(1e-6)
		}
		return m, nil
	}}}}
	s := simcam.Defaults()
	s.EV = []float64{0}
	dir := t.TempDir()
	if _, err := simcam.LF1().Shoot(t.Context(), dir, dark, s, nil); err != nil {
		t.Fatal(err)
	}
	r, err := Run(t.Context(), dir, Options{})
	if err != nil || len(r.Views) != 1 || !r.Views[0].Mark || r.ShootAgain() {
		t.Errorf("%v, mark %v, list %v", err, r.Views[0].Mark, r.List())
	}
	// The long exposure of the covered lens ends the instant the bracket begins.
	s = simcam.Defaults()
	s.First, s.Start = 2, s.Start.Add(30*time.Second)
	if _, err := simcam.LF1().Shoot(t.Context(), dir, scenes(t, "bath"), s, nil); err != nil {
		t.Fatal(err)
	}
	r, err = Run(t.Context(), dir, Options{Job: &jobfile.Job{Rooms: []jobfile.Room{{Name: "bathroom", Views: 1}}}})
	if err != nil || r.ShootAgain() || !r.Coverage.Marked || r.Coverage.Views != 1 {
		t.Errorf("%v, list %v, coverage %+v", err, r.List(), r.Coverage)
	}
	if last := r.Views[len(r.Views)-1]; len(last.Frames) != 5 || len(alarms(&last)) > 0 {
		t.Errorf("%d frames, %v", len(last.Frames), codes(&last))
	}
}

// A card whose every frame is damaged still gets its answer.
func TestAllDamaged(t *testing.T) {
	dir := t.TempDir()
	s := simcam.Defaults()
	s.EV = []float64{0, 2}
	shots, err := simcam.LF1().Shoot(t.Context(), dir, scenes(t, "bath"), s, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range shots {
		path := filepath.Join(dir, filepath.FromSlash(simcam.Folder), x.File)
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(path, info.Size()/2); err != nil {
			t.Fatal(err)
		}
	}
	r, err := Run(t.Context(), dir, Options{Pictures: true})
	if err != nil || !r.ShootAgain() || !r.Views[0].has("nothing-usable") || !r.Views[0].has("frame-unreadable") {
		t.Errorf("%v %v", err, r.List())
	}
}
