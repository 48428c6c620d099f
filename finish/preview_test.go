package finish

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"mullion/deliver"
	"mullion/internal/raster"
	"mullion/shoot"
)

func number(v float64) *float64 { return &v }

// psnr compares two pictures in sRGB codes, in dB.
func psnr(t testing.TB, a, b *raster.RGB) float64 {
	t.Helper()
	if a.W() != b.W() || a.H() != b.H() {
		t.Fatalf("%d x %d beside %d x %d", a.W(), a.H(), b.W(), b.H())
	}
	code := func(v float32) float64 {
		if v <= .0031308 {
			return 12.92 * float64(v)
		}
		return 1.055*math.Pow(float64(v), 1/2.4) - .055
	}
	var sum, n float64
	for c := range a {
		for y := range a.H() {
			q := b[c].Row(y)
			for x, v := range a[c].Row(y) {
				d := code(v) - code(q[x])
				sum += d * d
				n++
			}
		}
	}
	return -10 * math.Log10(sum/n)
}

// previewShoot is a shoot of two small views whose cache is empty.
func previewShoot(t testing.TB, scale float64) (string, []shoot.View) {
	t.Helper()
	s := small()
	s.Scale = scale
	card, dir := filepath.Join(t.TempDir(), "card"), filepath.Join(t.TempDir(), "shoot")
	photograph(t, card, s, scenes(t, "bath", "guest")...)
	if _, err := Run(context.Background(), Job{Card: card, Shoot: dir, Version: "test"}); err != nil {
		t.Fatal(err)
	}
	doc, err := shoot.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	return dir, doc.Views
}

// What is shown is what is delivered: the live picture of a view and the finished
// one, reduced to its size, agree, whatever was decided.
func TestPreviewIsThePicture(t *testing.T) {
	dir, views := previewShoot(t, 1.15)
	p := NewPreviews(dir, 1<<30)
	decided := []shoot.Decisions{
		{},
		{RoomEV: number(.5), WindowEV: number(-.7)},
		{RoomWarmth: &shoot.Warmth{Mired: 30, Duv: .002}, WindowWarmth: &shoot.Warmth{Mired: -20}},
		{Level: &shoot.Level{PitchDeg: 3, RollDeg: -1}},
	}
	for n, v := range views {
		for i, d := range decided {
			if n == 0 && i > 0 {
				continue // the second view has the windows
			}
			v.Decisions = d
			live, err := p.Make(t.Context(), v)
			if err != nil {
				t.Fatal(err)
			}
			scene, err := mergeFrames(t.Context(), p.paths(v), nil)
			if err != nil {
				t.Fatal(err)
			}
			full, err := develop(t.Context(), scene, &Clock{}, d, told(t, dir, v.ID), "", nil)
			if err != nil {
				t.Fatal(err)
			}
			if full.rgb.W() != live.W || full.rgb.H() != live.H {
				t.Errorf("%s: said to be %d x %d, is %d x %d", v.ID, live.W, live.H, full.rgb.W(), full.rgb.H())
			}
			small, err := deliver.Small(t.Context(), full.rgb, PreviewEdge)
			if err != nil {
				t.Fatal(err)
			}
			db := psnr(t, live.RGB, small)
			t.Logf("%s, decisions %d: %d x %d from %d x %d, %.1f dB", v.ID, i, small.W(), small.H(), live.W, live.H, db)
			quick, err := p.Draft(t.Context(), v)
			if err != nil {
				t.Fatal(err)
			}
			half, err := deliver.Small(t.Context(), live.RGB, DraftEdge)
			if err != nil {
				t.Fatal(err)
			}
			if db := psnr(t, quick, half); db < 36 {
				t.Errorf("%s, decisions %d: the draft is %.1f dB from the live picture", v.ID, i, db)
			} else {
				t.Logf("the draft is %.1f dB from it", db)
			}
			if db < 38 {
				t.Errorf("%s, decisions %d: the live picture is %.1f dB from the finished one", v.ID, i, db)
			}
		}
	}
}

// While a hand moves the level the draft is the picture that will be made, nearly, and
// what was made before stays.
func TestDraftOfALevel(t *testing.T) {
	dir, views := previewShoot(t, 1.15)
	p := NewPreviews(dir, 1<<30)
	v := views[1] // it has the windows
	before, err := p.Make(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	made := p.of(v).straight
	for _, level := range []*shoot.Level{{PitchDeg: 2, RollDeg: -1}, {PitchDeg: -3, RollDeg: 2}} {
		tried := v
		tried.Decisions.Level = level
		quick, err := p.Draft(t.Context(), tried)
		if err != nil {
			t.Fatal(err)
		}
		if p.of(v).straight != made {
			t.Fatal("a level that was only tried has taken the place of the picture")
		}
		was := &raster.RGB{}
		for c := range was { // a framing may be a pixel higher
			if was[c], err = raster.Shrink(t.Context(), before.RGB[c], quick.W(), quick.H()); err != nil {
				t.Fatal(err)
			}
		}
		whole, err := NewPreviews(dir, 1<<30).Make(t.Context(), tried)
		if err != nil {
			t.Fatal(err)
		}
		half, err := deliver.Small(t.Context(), whole.RGB, DraftEdge)
		if err != nil {
			t.Fatal(err)
		}
		near, far := psnr(t, quick, half), psnr(t, quick, was)
		t.Logf("level %+v: %.1f dB from the picture at that level, %.1f from the one before", *level, near, far)
		if near < 34 || far > near-6 {
			t.Errorf("the draft at %+v is %.1f dB from the picture, and %.1f from the one before it", *level, near, far)
		}
	}
	back, err := p.Draft(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	half, err := deliver.Small(t.Context(), before.RGB, DraftEdge)
	if err != nil {
		t.Fatal(err)
	}
	if db := psnr(t, back, half); db < 36 {
		t.Errorf("back at the level before, the draft is %.1f dB from its picture", db)
	}
}

// A run leaves what the live picture needs, and a cache that is gone or spoilt is made
// again without a word.
func TestKeptRadiance(t *testing.T) {
	dir, views := previewShoot(t, .3)
	path, err := keptPath(filepath.Join(dir, "cache"), views[0], told(t, dir, views[0].ID))
	if err != nil {
		t.Fatal(err)
	}
	k, err := readKept(path)
	if err != nil {
		t.Fatalf("the run left no radiance: %v", err)
	}
	v := views[0]
	want, err := NewPreviews(dir, 1<<30).Make(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []func() error{
		func() error { return os.Remove(path) },
		func() error { return os.WriteFile(path, []byte("nothing of ours"), 0o600) },
		func() error { return os.Truncate(path, 2000) },
	} {
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		got, err := NewPreviews(dir, 1<<30).Make(t.Context(), v)
		if err != nil {
			t.Fatal(err)
		}
		if db := psnr(t, got.RGB, want.RGB); db < 60 {
			t.Errorf("made again it is %.1f dB from what it was", db)
		}
		again, err := readKept(path)
		if err != nil || again.W != k.W {
			t.Errorf("it was not kept again: %v", err)
		}
	}
}

// A room's name changes what the views agree on and not their radiance: no frame is
// merged again, and the picture is the one that would be made from the frames.
func TestRoomMergesNothing(t *testing.T) {
	dir, _ := previewShoot(t, .3)
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Update(t.Context(), func(d *shoot.Doc) error {
		for i := range d.Views {
			d.Views[i].Room = "Guest wing"
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	doc, err := shoot.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	v := doc.Views[0]
	kept := filepath.Join(dir, "cache", "radiance", "*.kept")
	before, _ := filepath.Glob(kept)
	got, err := NewPreviews(dir, 1<<30).Make(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	after, _ := filepath.Glob(kept)
	if len(before) != 2 || !slices.Equal(before, after) {
		t.Errorf("kept radiance before: %v, after: %v", before, after)
	}
	for _, path := range after {
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	want, err := NewPreviews(dir, 1<<30).Make(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	if db := psnr(t, got.RGB, want.RGB); db < 60 {
		t.Errorf("from the kept radiance it is %.1f dB from what the frames give", db)
	}
}

// A view looks different when another joins its room, and the picture that is shown then
// is not the one from before; a room's name alone changes nothing.
func TestLookGoesByRoomMates(t *testing.T) {
	dir, _ := previewShoot(t, .3)
	rename := func(rooms ...string) []shoot.View {
		t.Helper()
		s, err := shoot.Open(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		err = s.Update(t.Context(), func(d *shoot.Doc) error {
			for i, room := range rooms {
				d.Views[i].Room = room
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return s.Doc().Views
	}
	p := NewPreviews(dir, 1<<30)
	apart := rename("Bathroom", "Guest room")
	if _, err := p.Make(t.Context(), apart[0]); err != nil {
		t.Fatal(err)
	}
	named := rename("Wet room", "Guest room")
	if LookKey(apart[0], apart) != LookKey(named[0], named) {
		t.Error("a room's name changes what its only view looks like")
	}
	together := rename("Wet room", "Wet room")
	if LookKey(named[0], named) == LookKey(together[0], together) {
		t.Error("a view that another has joined counts as looking the same")
	}
	got, err := p.Make(t.Context(), together[0])
	if err != nil {
		t.Fatal(err)
	}
	want, err := NewPreviews(dir, 1<<30).Make(t.Context(), together[0])
	if err != nil {
		t.Fatal(err)
	}
	if db := psnr(t, got.RGB, want.RGB); db < 60 {
		t.Errorf("the picture shown is %.1f dB from the one that is due", db)
	}
}

// Many views share a few bytes: those not used for longest go.
func TestPreviewsForget(t *testing.T) {
	dir, views := previewShoot(t, .3)
	p := NewPreviews(dir, 1)
	for _, v := range views {
		if _, err := p.Make(t.Context(), v); err != nil {
			t.Fatal(err)
		}
	}
	if len(p.live) != 1 {
		t.Errorf("%d views are held, want the last", len(p.live))
	}
}

// A grey place that is pointed at after a wrong decision leads back to about nothing.
func TestWhite(t *testing.T) {
	dir, views := previewShoot(t, .3)
	p := NewPreviews(dir, 1<<30)
	v := views[0]
	w, glass, ok, err := p.White(t.Context(), v, .5, .12) // the wall under the ceiling
	if err != nil || !ok {
		t.Fatalf("ok %v, %v", ok, err)
	}
	t.Logf("glass %v, %+v", glass, w)
	v.Decisions.RoomWarmth = &w
	live, err := p.Make(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	x, y := live.RGB.W()/2, live.RGB.H()*12/100
	r, g, b := live.RGB[0].Row(y)[x], live.RGB[1].Row(y)[x], live.RGB[2].Row(y)[x]
	if math.Abs(float64(r/g-1)) > .05 || math.Abs(float64(b/g-1)) > .05 {
		t.Errorf("the place is %.3f %.3f %.3f, want a grey", r, g, b)
	}
}

// cpu is the processor time this process has used.
func cpu() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// What a page waits for after a change, with the file it is sent: a draft while the hand
// moves, then the picture.
func BenchmarkPreview(b *testing.B) {
	dir, views := previewShoot(b, 1.15)
	p := NewPreviews(dir, 1<<30)
	v := views[1]
	show := func(rgb *raster.RGB, err error) {
		if err != nil {
			b.Fatal(err)
		}
		if _, err := deliver.Screen(context.Background(), rgb, 1, 88); err != nil {
			b.Fatal(err)
		}
		raster.PutRGB(rgb)
	}
	make := func() {
		live, err := p.Make(context.Background(), v)
		show(live.RGB, err)
		raster.Put(live.Glass)
	}
	quick := func() { show(p.Draft(context.Background(), v)) }
	for _, c := range []struct {
		name   string
		show   func()
		decide func(d *shoot.Decisions, i int)
	}{
		{"draft", quick, func(d *shoot.Decisions, i int) { d.RoomEV = number(float64(i%7) / 10) }},
		{"light", make, func(d *shoot.Decisions, i int) { d.RoomEV = number(float64(i%7) / 10) }},
		{"warmth", make, func(d *shoot.Decisions, i int) { d.RoomWarmth = &shoot.Warmth{Mired: float64(i % 7)} }},
		{"tilt", quick, func(d *shoot.Decisions, i int) { d.Level = &shoot.Level{PitchDeg: float64(1+i%7) / 5} }},
		{"level", make, func(d *shoot.Decisions, i int) { d.Level = &shoot.Level{PitchDeg: float64(1+i%7) / 5} }},
	} {
		b.Run(c.name, func(b *testing.B) {
			c.show()
			begin := cpu()
			b.ResetTimer()
			for i := range b.N {
				c.decide(&v.Decisions, i)
				c.show()
			}
			b.ReportMetric(float64(cpu()-begin)/1e6/float64(b.N), "cpu-ms/op")
		})
	}
}
