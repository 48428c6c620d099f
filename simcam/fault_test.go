package simcam

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"

	"context"
)

// plain is a flat grey scene with a bright stripe.
func plain(context.Context) (*raster.RGB, error) {
	m := raster.NewRGB(240, 160)
	for _, p := range m {
		p.Fill(.2)
		for y := range p.H {
			for x := 100; x < 140; x++ {
				p.Row(y)[x] = 2
			}
		}
	}
	return m, nil
}

func faulty(t *testing.T, faults ...Fault) (dir string, shots []Shot) {
	t.Helper()
	dir = t.TempDir()
	shots, err := LF1().ShootFaulty(t.Context(), dir, []View{{Name: "a", Scenes: []Scene{plain}, FocalMM: 16}}, Defaults(), map[string][]Fault{"a": faults})
	if err != nil {
		t.Fatal(err)
	}
	return dir, shots
}

func TestFaultsAreAsTheySay(t *testing.T) {
	_, sound := faulty(t)
	for _, f := range Faults() {
		dir, shots := faulty(t, f)
		files, err := os.ReadDir(filepath.Join(dir, filepath.FromSlash(Folder)))
		if err != nil || len(files) != len(shots) {
			t.Errorf("%s: %d files and %d shots, %v", f, len(files), len(shots), err)
		}
		switch f {
		case MissingFrame, MissingEnd:
			if len(shots) != len(sound)-1 {
				t.Errorf("%s: %d frames", f, len(shots))
			}
		case ClippedWindow:
			if d := 3 * math.Log2(shots[0].Frame.Shutter.Seconds()/sound[0].Frame.Shutter.Seconds()); math.Abs(d-9) > .01 {
				t.Errorf("%s: %v thirds of a stop", f, d)
			}
		case LowISO:
			if shots[0].Frame.ISO != 100 || shots[0].Frame.TagISO != 50 {
				t.Errorf("%s: %+v", f, shots[0].Frame)
			}
		case Aperture:
			for _, s := range shots {
				if s.Frame.Step > 0 && s.Frame.FNumber >= 8 {
					t.Errorf("%s: step %v at f/%v", f, s.Frame.Step, s.Frame.FNumber)
				}
			}
		case Bump:
			if m := shots[len(shots)-1].Frame.Move; math.Abs(math.Hypot(m.X, m.Y)-3) > 1e-9 {
				t.Errorf("%s: %+v", f, m)
			}
		}
	}
	if _, err := LF1().ShootFaulty(t.Context(), t.TempDir(), []View{{Name: "a", Scenes: []Scene{plain}}}, Defaults(), map[string][]Fault{"a": {"rain"}}); err == nil {
		t.Error("an unknown fault was planted")
	}
}

// An exposure of whole pulses sees no pulsing; one of half a pulse sees the most of it,
// 2/pi of the depth (the mean of half a sine).
func TestPulse(t *testing.T) {
	p := Pulse{Hertz: 100, Depth: 1, Readout: .04}
	swing := func(seconds float64) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for y := range 1000 {
			v := float64(p.row(y, 1000, seconds, 0))
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
		return (hi - lo) / 2
	}
	if s := swing(1. / 50); s > 1e-6 {
		t.Errorf("two whole pulses swing by %v", s)
	}
	if s := swing(1. / 200); math.Abs(s-2/math.Pi) > 1e-3 {
		t.Errorf("half a pulse swings by %v, want %v", s, 2/math.Pi)
	}
	// The table of worst cases: 1/125 s under 50 Hz mains is off by 23 % (|sin x|/x).
	if s := swing(1. / 125); math.Abs(s-.234) > .002 {
		t.Errorf("1/125 s swings by %v, want 0.234", s)
	}
	if v := (Pulse{}).row(3, 10, .001, 1); v != 1 {
		t.Errorf("steady light gives %v", v)
	}
}

func TestDustRow(t *testing.T) {
	c := LF1()
	c.Dust = []Speck{{.5, .25, .01, .2}}
	row := make([]float32, 1000)
	for i := range row {
		row[i] = 1
	}
	c.dustRow(row, 250)
	if math.Abs(float64(row[500])-.8) > .002 || row[400] != 1 || row[600] != 1 {
		t.Errorf("middle %v, beside it %v and %v", row[500], row[400], row[600])
	}
}
