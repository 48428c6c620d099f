package plumb

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"mullion/lens"
	"mullion/lines"
)

// A shoot of eight views through two settings of a bent lens, one of them with
// next to no lines, and one through a lens that a profile knows.
func shootOfTen(r *rand.Rand) (views []Evidence, truth *lens.Profile) {
	const w, h, f = 1500.0, 1000.0, 650.0
	truth = lens.New("test", "test")
	truth.Distortion = lens.Brown(-0.05, 0, 0, f/(math.Hypot(w, h)/2))
	add := func(setting string, p *lens.Profile, known bool, keep int) {
		m := model{rad(-3 + 0.3*r.NormFloat64()), rad(0.5 * r.NormFloat64()), rad(90*r.Float64() - 45)}
		v := View{W: w, H: h, FocalPx: f, Setting: setting}
		if known {
			v.Profile = p
		}
		segs := scene(r, m, w, h, f, p)
		views = append(views, NewEvidence(segs[:min(len(segs), keep)], v))
	}
	for range 6 {
		add("14 mm", truth, false, 1000)
	}
	add("24 mm", nil, false, 1000)
	add("24 mm", nil, false, 1000)
	add("20 mm", truth, true, 1000)
	add("14 mm", truth, false, 2)
	return views, truth
}

func TestTogether(t *testing.T) {
	views, truth := shootOfTen(rand.New(rand.NewPCG(11, 4)))
	got, err := Together(context.Background(), views)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range got {
		switch bent := i < 6 || i == 9; {
		case bent && s.Profile == nil:
			t.Errorf("view %d: its lens was not estimated", i)
		case bent:
			if off := s.Profile.Distort(0.9) - truth.Distort(0.9); math.Abs(off) > 0.004 {
				t.Errorf("view %d: distortion off by %.4f", i, off)
			}
			if s.Views != 6 || !strings.Contains(s.Note, "6 views") {
				t.Errorf("view %d: %d views, %q", i, s.Views, s.Note)
			}
		case s.Profile != nil:
			t.Errorf("view %d: a straight or known lens was estimated: %s", i, s.Note)
		}
		if weak := i == 9; weak != (s.Habit != nil) {
			t.Errorf("view %d: habit %+v", i, s.Habit)
		}
	}
	if h := got[9].Habit; h != nil && (math.Abs(h.PitchDeg+3) > 0.5 || math.Abs(h.RollDeg) > 0.7) {
		t.Errorf("habit %+v of cameras held at pitch -3, roll 0", *h)
	}
}

// Evidence that went through a file gives the very same answer: a run that is
// taken up again makes the same pictures.
func TestEvidenceComesBack(t *testing.T) {
	views, _ := shootOfTen(rand.New(rand.NewPCG(11, 4)))
	b, err := json.Marshal(views)
	if err != nil {
		t.Fatal(err)
	}
	if size := len(b) / len(views); size > 40<<10 {
		t.Errorf("%d bytes a view", size)
	}
	var back []Evidence
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(views, back) {
		t.Fatal("evidence changed on its way through a file")
	}
	first, err1 := Together(context.Background(), views)
	second, err2 := Together(context.Background(), back)
	if err1 != nil || err2 != nil || !reflect.DeepEqual(first, second) {
		t.Error("two runs disagree")
	}
	b1, _ := json.Marshal(first)
	var third []Shared
	if err := json.Unmarshal(b1, &third); err != nil || !reflect.DeepEqual(first, third) {
		t.Error("the result changed on its way through a file")
	}
}

// Nothing, a single view and views without lines are no error; an ended context is.
func TestTogetherOfLittle(t *testing.T) {
	views, _ := shootOfTen(rand.New(rand.NewPCG(11, 4)))
	for _, v := range [][]Evidence{nil, {{}}, views[:1], {NewEvidence([]lines.Segment{}, View{W: 10, H: 10, Setting: "x"})}} {
		got, err := Together(context.Background(), v)
		if err != nil || len(got) != len(v) {
			t.Fatalf("%d results, %v", len(got), err)
		}
		for _, s := range got {
			if !reflect.DeepEqual(s, Shared{}) {
				t.Errorf("%+v from nothing", s)
			}
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Together(ctx, views); err == nil {
		t.Error("went on after being stopped")
	}
}

// The demo house's views by their focal lengths, the lens unknown to all of them.
func TestDemoHouseTogether(t *testing.T) {
	var all []Evidence
	var cams []truth
	for _, name := range views {
		c := readTruth(t, name)
		m := readRadiance(t, name)
		luma, err := Luma(context.Background(), m, 1600)
		if err != nil {
			t.Fatal(err)
		}
		v := View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal}
		v.Setting = fmt.Sprint(c.Camera.Focal)
		e, err := Gather(context.Background(), luma, v)
		if err != nil {
			t.Fatal(err)
		}
		all, cams = append(all, e), append(cams, c)
	}
	got, err := Together(context.Background(), all)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range got {
		p, err := FromSegments(context.Background(), all[i].segments(), s.Fill(all[i].View))
		if err != nil {
			t.Fatal(err)
		}
		true := trueProfile(cams[i], all[i].View.W, all[i].View.H)
		dp, dr := p.PitchDeg-cams[i].Camera.Pitch, p.RollDeg-cams[i].Camera.Roll
		t.Logf("%-13s %d views; pitch off %+.3f, roll %+.3f; corner off %+.4f; %s", views[i], s.Views, dp, dr, s.Fill(all[i].View).Profile.Distort(1)-true.Distort(1), s.Note)
		if math.Abs(dp) > 0.1 || math.Abs(dr) > 0.1 {
			t.Errorf("%s: pitch %+.3f, roll %+.3f off, want 0.1", views[i], dp, dr)
		}
	}
}
