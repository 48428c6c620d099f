package finish

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/card/disk"
	"mullion/shoot"
)

// edit changes the shoot's document as a person would between two runs.
func edit(t *testing.T, dir string, fn func(*shoot.Doc)) {
	t.Helper()
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Update(t.Context(), func(d *shoot.Doc) error { fn(d); return nil }); err != nil {
		t.Fatal(err)
	}
}

// kept tells which views a run left alone.
func kept(r *Report) (out []bool) {
	for _, v := range r.Views {
		out = append(out, v.Kept)
	}
	return out
}

func TestSecondRunDoesOnlyWhatChanged(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	job := Job{Card: card, Shoot: dir, Rooms: []string{"kitchen", "guest room"}, Version: "test"}
	deliveries := filepath.Join(dir, "deliveries", "listing")
	first := run(t, job)
	sound(t, first, 2)
	if k := kept(first); k[0] || k[1] {
		t.Errorf("the first run kept %v", k)
	}

	// again runs once more and tells which pictures were written and which are gone.
	again := func(what string, wantKept ...bool) (written, gone []string) {
		t.Helper()
		before := tree(t, deliveries)
		r := run(t, job)
		sound(t, r, len(wantKept))
		if !slices.Equal(kept(r), wantKept) {
			t.Errorf("%s: kept %v, want %v", what, kept(r), wantKept)
		}
		after := tree(t, deliveries)
		for path, is := range after {
			if was, ok := before[path]; strings.HasSuffix(path, ".jpg") && !strings.Contains(path, "/") && (!ok || !was.at.Equal(is.at)) {
				written = append(written, path)
			}
		}
		for path := range before {
			if _, ok := after[path]; !ok && !strings.Contains(path, "/") {
				gone = append(gone, path)
			}
		}
		return written, gone
	}
	expect := func(what string, got, want []string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}

	originals := tree(t, filepath.Join(dir, "originals"))
	written, gone := again("nothing changed", true, true)
	expect("nothing changed, written", written, nil)
	expect("nothing changed, gone", gone, nil)
	for path, was := range originals { // the manifest may be written anew
		if is := tree(t, filepath.Join(dir, "originals"))[path]; strings.HasSuffix(path, ".DNG") && is != was {
			t.Errorf("%s was copied again", path)
		}
	}

	brighter := .5
	edit(t, dir, func(d *shoot.Doc) { d.Views[1].Decisions.RoomEV = &brighter })
	written, gone = again("brighter room", true, false)
	expect("brighter room, written", written, []string{"02-guest-room.jpg"})
	expect("brighter room, gone", gone, nil)

	edit(t, dir, func(d *shoot.Doc) { d.Views[0].Room = "Küche Süd" })
	written, gone = again("renamed", true, true) // its pixels are the same; its words are written anew
	expect("renamed, written", written, []string{"01-kueche-sued.jpg"})
	expect("renamed, gone", gone, []string{"01-kitchen.jpg"})

	if err := os.Remove(filepath.Join(deliveries, "02-guest-room.jpg")); err != nil {
		t.Fatal(err)
	}
	written, _ = again("deleted", true, false)
	expect("deleted, written", written, []string{"02-guest-room.jpg"})

	if err := os.WriteFile(filepath.Join(deliveries, "01-kueche-sued.jpg"), []byte("scribble"), 0o644); err != nil {
		t.Fatal(err)
	}
	written, _ = again("scribbled over", false, true)
	expect("scribbled over, written", written, []string{"01-kueche-sued.jpg"})

	// The account of a finished view can be lost: the view is done again.
	if err := os.RemoveAll(filepath.Join(dir, "cache")); err != nil {
		t.Fatal(err)
	}
	again("cache deleted", false, false)

	// Two views change places: both are renamed, no stale file stays.
	edit(t, dir, func(d *shoot.Doc) { d.Views[0].Order, d.Views[1].Order = 2, 1 })
	again("changed places", true, true)
	expect("changed places", pictures(t, deliveries), []string{"01-guest-room.jpg", "02-kueche-sued.jpg"})
}

// A view that is left out must not stay in the delivered folder.
func TestLeftOutViewIsNotDelivered(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	job := Job{Card: card, Shoot: dir, Rooms: []string{"kitchen", "guest room"}}
	sound(t, run(t, job), 2)
	edit(t, dir, func(d *shoot.Doc) { d.Views[0].Decisions.LeaveOut = true })
	sound(t, run(t, job), 1)
	got := pictures(t, filepath.Join(dir, "deliveries"))
	if want := []string{"listing/01-guest-room.jpg"}; !slices.Equal(got, want) {
		t.Errorf("delivered %v, want %v", got, want)
	}
}

// Stopping a run at any of its steps leaves a shoot that can be read and a report of
// what was finished; the next run does the rest and ends where an undisturbed run
// does.
func TestStoppedRunCarriesOn(t *testing.T) {
	card := smallCard(t)
	plain := filepath.Join(t.TempDir(), "plain")
	sound(t, run(t, Job{Card: card, Shoot: plain}), 2)
	for _, step := range []string{"copying the card", "looking at frames", reading, finishing} {
		dir := filepath.Join(t.TempDir(), "shoot")
		ctx, cancel := context.WithCancel(t.Context())
		report, err := Run(ctx, Job{Card: card, Shoot: dir, Jobs: 1, Report: func(e Event) {
			if e.Step == step && e.Done > 0 {
				cancel()
			}
		}})
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("stopped while %s: %v", step, err)
		}
		if _, err := shoot.Read(dir); err != nil {
			t.Errorf("stopped while %s: %v", step, err)
		}
		if step == finishing {
			if done := len(pictures(t, filepath.Join(dir, "deliveries"))); done != 1 || len(report.Views) != 1 {
				t.Errorf("stopped after the first view: %d pictures, %d views in the report", done, len(report.Views))
			}
		}
		leaveParts(t, filepath.Join(dir, "deliveries", "listing"))
		r := run(t, Job{Card: card, Shoot: dir})
		sound(t, r, 2)
		if step == finishing && !r.Views[0].Kept {
			t.Error("the finished view was done again")
		}
		samePictures(t, step, plain, dir)
	}
}

// leaveParts puts there what a run that is killed while it writes leaves behind, under
// names that later runs have no use for.
func leaveParts(t *testing.T, delivery string) {
	t.Helper()
	for _, name := range []string{"99-attic.jpg", "photographs.zip", "pages/99-attic-640.webp"} {
		part := disk.Part(filepath.Join(delivery, name))
		if err := os.MkdirAll(filepath.Dir(part), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(part, []byte("half"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// samePictures fails the test unless two shoots hold the same delivered bytes.
func samePictures(t *testing.T, what, a, b string) {
	t.Helper()
	x, y := tree(t, filepath.Join(a, "deliveries")), tree(t, filepath.Join(b, "deliveries"))
	for path := range y {
		if _, ok := x[path]; !ok {
			t.Errorf("%s: %s is left over", what, path)
		}
	}
	for path, e := range x {
		if strings.HasSuffix(path, ".jpg") && y[path].sum != e.sum {
			t.Errorf("%s: %s differs from an undisturbed run's", what, path)
		}
	}
}

// A shoot that was moved, or is named by another path, loses no picture from its
// pages, and its report says where the files are now.
func TestMovedShootKeepsItsGallery(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	sound(t, run(t, Job{Card: card, Shoot: dir}), 2)
	moved := filepath.Join(t.TempDir(), "moved")
	if err := os.Rename(dir, moved); err != nil {
		t.Fatal(err)
	}
	bright := .5
	edit(t, moved, func(d *shoot.Doc) { d.Views[1].Decisions.RoomEV = &bright })
	r := run(t, Job{Card: card, Shoot: moved})
	sound(t, r, 2)
	page, err := os.ReadFile(filepath.Join(moved, "deliveries", "listing", "index.html"))
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range r.Views {
		if v.Kept != (i == 0) {
			t.Errorf("%s: kept %v", v.ID, v.Kept)
		}
		for _, f := range v.Files {
			if _, err := os.Stat(f.Path); err != nil {
				t.Errorf("%s is said to be where it isn't: %v", v.ID, err)
			}
			if name := filepath.Base(f.Path); !strings.Contains(string(page), `href="`+name+`"`) {
				t.Errorf("%s is missing from the gallery", name)
			}
		}
	}
}
