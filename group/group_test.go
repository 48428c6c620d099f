package group

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"mullion/internal/raster"
	"mullion/metadata"
)

// seq writes a card down: each word is pause:exposure, in s after the last frame's
// end and EV; a stroke is a boundary that must be found.
func seq(text string) (frames []Frame, want string) {
	now := time.Date(2026, 5, 14, 9, 0, 0, 1e6, time.UTC)
	var views []string
	var open []int
	for _, word := range strings.Fields(text) {
		if word == "|" {
			views, open = append(views, fmt.Sprint(open)), nil
			continue
		}
		var pause, ev float64
		fmt.Sscanf(word, "%g:%g", &pause, &ev)
		seconds := 0.05 * pow2(ev)
		now = now.Add(time.Duration(pause * 1e9))
		open = append(open, len(frames))
		frames = append(frames, Frame{fmt.Sprintf("/c/DCIM/100A/A_%04d.DNG", len(frames)), metadata.Info{
			Make: "M", Model: "C", Seconds: seconds, ISO: 100, FNumber: 8, FocalMM: 16, Time: now, Orientation: 1}})
		now = now.Add(time.Duration(seconds * 1e9))
	}
	return frames, strings.Join(append(views, fmt.Sprint(open)), " ")
}

func pow2(ev float64) float64 {
	if ev < 0 {
		return 1 / pow2(-ev)
	}
	if ev >= 1 {
		return 2 * pow2(ev-1)
	}
	return 1 + ev*(0.6931+ev*(0.2402+ev*0.0555))
}

func shape(views []View) string {
	var s []string
	for _, v := range views {
		s = append(s, fmt.Sprint(slices.Sorted(slices.Values(v.Frames))))
	}
	return strings.Join(s, " ")
}

func TestSequences(t *testing.T) {
	same, other := newRoom(rand.New(rand.NewPCG(1, 1))), newRoom(rand.New(rand.NewPCG(2, 2)))
	tests := []struct {
		name, text string
		places     string // which room each frame shows, a letter a frame; empty: no picture may be asked for
	}{
		{"single frame", "0:0", ""},
		{"two frames", "0:-2 .3:2", "aa"},
		{"middle, dark, bright", "0:0 .3:-2 .3:2 | 50:0 .3:-2 .3:2 | 60:0 .3:-2 .3:2", ""},
		{"rising by five", "0:-4 .3:-2 .3:0 .3:2 .3:4 | 40:-4 .3:-2 .3:0 .3:2 .3:4", ""},
		{"falling by seven", "0:3 .3:2 .3:1 .3:0 .3:-1 .3:-2 .3:-3 | 40:3 .3:2 .3:1 .3:0 .3:-1 .3:-2 .3:-3", ""},
		{"nine by hand, three seconds each", "0:-4 3:-3 3:-2 3:-1 3:0 3:1 3:2 3:3 3:4", "aaaaaaaaa"},
		{"four and six", "0:-3 .3:-1 .3:1 .3:3 | 50:-3 .3:-1 .3:1 .3:3 | 50:-5 .3:-3 .3:-1 .3:1 .3:3 .3:5", "aaaabbbbaaaaaa"},
		{"the same view twice", "0:0 .3:-2 .3:2 | 1:0 .3:-2 .3:2", "aaaaaa"},
		{"the same view three times", "0:0 .3:-2 .3:2 | 1:0 .3:-2 .3:2 | 1:0 .3:-2 .3:2", "aaaaaaaaa"},
		{"middle frame deleted", "0:-4 .3:-2 1:2 .3:4 | 50:-4 .3:-2 .3:0 .3:2 .3:4 | 50:-4 .3:-2 .3:0 .3:2 .3:4", "aaaabbbbbaaaaa"},
		{"single between brackets", "0:0 .3:-2 .3:2 | 30:1 | 30:0 .3:-2 .3:2", "aaabccc"},
		{"two rooms seconds apart", "0:0 .3:-2 .3:2 | 4:0.6 .3:-1.4 .3:2.6", "aaabbb"},
		{"singles while walking", "0:0 | 4:1 | 5:-1 | 6:2 | 4:0.3", "abaca"},
		{"two bursts, minutes apart", "0:-4 .3:-6 .3:-2 90:2 .3:0 .3:4", "aaaaaa"},
		{"two bursts of two rooms", "0:-4 .3:-6 .3:-2 | 90:2 .3:0 .3:4", "aaabbb"},
	}
	rooms := map[byte]stand{'a': same.at(.2, .2), 'b': same.at(.9, .8), 'c': other.at(.5, .5)}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			frames, want := seq(test.text)
			views, err := Views(context.Background(), frames, func(_ context.Context, i int) (*raster.Plane, error) {
				if test.places == "" {
					t.Errorf("the picture of frame %d was asked for", i)
					return nil, errors.New("none")
				}
				ev, _ := frames[i].Info.Exposure()
				s := shotFrame{stand: rooms[test.places[i]], ev: ev + 10, seed: uint64(i)}
				return s.picture(), nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if got := shape(views); got != want {
				t.Errorf("found %s, want %s\n%s", got, want, print(frames, views))
			}
			for _, v := range views {
				if len(v.Reasons) == 0 || !slices.IsSorted(v.EV) || v.EV[v.Reference] != 0 {
					t.Errorf("%s: reasons %q, EV %v, reference %d", v.ID, v.Reasons, v.EV, v.Reference)
				}
			}
		})
	}
}

func TestBarriers(t *testing.T) {
	for name, change := range map[string]func(*Frame){
		"focal length": func(f *Frame) { f.Info.FocalMM = 24 },
		"orientation":  func(f *Frame) { f.Info.Orientation = 6 },
		"camera":       func(f *Frame) { f.Info.Model = "D" },
		"lens":         func(f *Frame) { f.Info.Lens = "x" },
		"size":         func(f *Frame) { f.Info.Width, f.Info.Height = 100, 50 },
	} {
		frames, _ := seq("0:0 .3:-2 .3:2")
		for i := range frames {
			frames[i].Info.Lens, frames[i].Info.Width, frames[i].Info.Height = "y", 60, 40
		}
		change(&frames[2])
		views, err := Views(context.Background(), frames, nil)
		if err != nil || shape(views) != "[0 1] [2]" {
			t.Errorf("%s: %s %v", name, shape(views), err)
		}
	}
}

// A zoom ring that slips within a burst doesn't end the view: the check will say so. A
// few seconds later it was turned on purpose.
func TestZoomSlips(t *testing.T) {
	for text, want := range map[string]string{"0:0 .3:-2 .3:2": "[0 1 2]", "0:0 .3:-2 6:2": "[0 1] [2]"} {
		frames, _ := seq(text)
		frames[2].Info.FocalMM = 16.6
		views, err := Views(context.Background(), frames, nil)
		if err != nil || shape(views) != want {
			t.Errorf("%s: %s %v", text, shape(views), err)
		}
	}
}

// The counter runs over into the next folder in the middle of a bracket.
func TestFolderRollover(t *testing.T) {
	for _, timed := range []bool{true, false} {
		frames, _ := seq("0:-2 .3:0 .3:2")
		frames[0].Path, frames[1].Path, frames[2].Path = "/c/DCIM/100CANON/I_9998.CR2", "/c/DCIM/100CANON/I_9999.CR2", "/c/DCIM/101CANON/I_0001.CR2"
		if !timed {
			for i := range frames {
				frames[i].Info.Time = time.Time{}
			}
		}
		views, err := Views(context.Background(), frames, nil)
		if err != nil || shape(views) != "[0 1 2]" {
			t.Errorf("times %v: %s %v", timed, shape(views), err)
		}
	}
}

// Files that say nothing never join across folders, however alike.
func TestUnknownFilesStayInTheirFolders(t *testing.T) {
	s := newRoom(rand.New(rand.NewPCG(5, 5))).at(.5, .5)
	var frames []Frame
	for i := range 6 {
		frames = append(frames, Frame{fmt.Sprintf("/p/%c/%d.png", 'a'+i/3, i), metadata.Info{Orientation: 1}})
	}
	views, err := Views(context.Background(), frames, func(_ context.Context, i int) (*raster.Plane, error) {
		f := shotFrame{stand: s, ev: float64(2*(i%3)) - 2, seed: uint64(i)}
		return f.picture(), nil
	})
	if err != nil || shape(views) != "[0 1 2] [3 4 5]" {
		t.Fatalf("%s %v", shape(views), err)
	}
}

func codes(v View) string {
	var s []string
	for _, n := range v.Notes {
		s = append(s, n.Code)
	}
	return strings.Join(s, " ")
}

func TestNotes(t *testing.T) {
	frames, _ := seq("0:-4 .3:-2 .3:2 .3:4 | 50:-4 .3:-2 .3:0 .3:2 .3:4 | 50:-4 .3:-2 .3:0 .3:2 .3:4 | 50:-4 .3:-2 .3:0 .3:2 | 60:-4 .3:-2 .3:0 .3:2 .3:4")
	views, err := Views(context.Background(), frames, nil)
	if err != nil || len(views) != 5 {
		t.Fatalf("%s %v", shape(views), err)
	}
	for i, want := range []string{"frame-missing", "", "", "frame-missing", ""} {
		if got := codes(views[i]); got != want {
			t.Errorf("%s: notes %q, want %q", views[i].ID, got, want)
		}
	}
	uneven, _ := seq("0:-3 .3:-1.6 .3:2")
	if views, _ = Views(context.Background(), uneven, nil); codes(views[0]) != "bracket-uneven" {
		t.Errorf("uneven: %v", views)
	}
	twice, _ := seq("0:0 .3:-2 .3:2 1:0 .3:-2 .3:2")
	s := newRoom(rand.New(rand.NewPCG(8, 8))).at(.5, .5)
	views, _ = Views(context.Background(), twice, func(_ context.Context, i int) (*raster.Plane, error) {
		f := shotFrame{stand: s, ev: twiceEV(twice[i]), seed: uint64(i)}
		return f.picture(), nil
	})
	if len(views) != 2 || codes(views[1]) != "near-duplicate" {
		t.Errorf("twice: %s", print(twice, views))
	}
}

func twiceEV(f Frame) float64 { ev, _ := f.Info.Exposure(); return ev + 10 }

func TestCancelled(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	frames, _ := seq("0:0 3:1")
	if _, err := Views(ctx, frames, nil); !errors.Is(err, context.Canceled) {
		t.Fatalf("err = %v", err)
	}
}

func TestNothing(t *testing.T) {
	views, err := Views(context.Background(), nil, nil)
	if err != nil || len(views) != 0 {
		t.Fatal(views, err)
	}
}

func BenchmarkCard2000(b *testing.B) {
	p := newPhotographer(7, nil)
	p.n = 5
	p.house(400)
	frames := make([]Frame, 0, len(p.frames))
	for _, f := range p.frames {
		frames = append(frames, f.Frame)
	}
	b.ReportMetric(float64(len(frames)), "frames")
	for b.Loop() {
		if _, err := Views(context.Background(), frames, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompare(b *testing.B) {
	s := newRoom(rand.New(rand.NewPCG(8, 8))).at(.5, .5)
	f, g := shotFrame{stand: s}, shotFrame{stand: s, ev: 2}
	x, _ := newSketch(context.Background(), f.picture())
	y, _ := newSketch(context.Background(), g.picture())
	for b.Loop() {
		compareSketches(x, y)
	}
}
