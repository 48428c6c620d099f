package check

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/demo"
	"mullion/finding"
	"mullion/simcam"
)

// expected is the code that has to be found for each planted fault, and how grave it
// must be at least.
var expected = map[simcam.Fault]struct {
	codes []string
	grave finding.Severity
}{
	simcam.ClippedWindow: {[]string{"window-clipped", "highlights-clipped"}, finding.Reshoot},
	simcam.DarkShadows:   {[]string{"shadows-drown"}, finding.Look},
	simcam.MissingFrame:  {[]string{"bracket-incomplete"}, finding.Reshoot},
	simcam.MissingEnd:    {[]string{"bracket-incomplete"}, finding.Reshoot},
	simcam.Bump:          {[]string{"camera-moved"}, finding.Look},
	simcam.Blur:          {[]string{"soft"}, finding.Look},
	simcam.Shake:         {[]string{"frame-soft"}, finding.Look},
	simcam.WrongBalance:  {[]string{"white-balance"}, finding.Look},
	simcam.LowISO:        {[]string{"iso-below-base"}, finding.Look},
	simcam.HighISO:       {[]string{"iso-high"}, finding.Look},
	simcam.Aperture:      {[]string{"aperture-changed"}, finding.Reshoot},
	simcam.Flicker:       {[]string{"flicker"}, finding.Look},
	simcam.Dust:          {[]string{"dust"}, finding.Look},
	simcam.Tilt:          {[]string{"tilt"}, finding.Look},
	simcam.Fan:           {[]string{"moving"}, finding.Look},
	simcam.DeadFile:      {[]string{"frame-unreadable", "file-unreadable"}, finding.Reshoot},
}

// scenes returns the demo house's views of the given names, without what moves in them.
func scenes(t testing.TB, names ...string) []simcam.View {
	t.Helper()
	var out []simcam.View
	for _, n := range names {
		v, err := demo.Truth(n)
		if err != nil {
			t.Fatal(err)
		}
		s := v.Scene()
		if len(s.Scenes) > 1 {
			s.Scenes = s.Scenes[2:3]
		}
		out = append(out, s)
	}
	return out
}

// shoot takes the views with their faults and checks the card.
func shoot(t testing.TB, views []simcam.View, faults map[string][]simcam.Fault, opt Options) *Report {
	t.Helper()
	dir := t.TempDir()
	s := simcam.Defaults()
	if _, err := simcam.LF1().ShootFaulty(t.Context(), dir, views, s, faults); err != nil {
		t.Fatal(err)
	}
	r, err := Run(t.Context(), dir, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// found reports whether the view, or the card as a whole, has one of the codes with at
// least the severity.
func found(r *Report, v *View, f simcam.Fault) bool {
	e := expected[f]
	ok := func(x finding.Finding) bool {
		return slices.Contains(e.codes, x.Code) && (x.Severity == finding.Reshoot || x.Severity == e.grave)
	}
	return slices.ContainsFunc(v.Findings, ok) || slices.ContainsFunc(r.Findings, ok)
}

// false alarms are findings of look or reshoot that the fault doesn't explain.
func alarms(v *View, explained ...string) []string {
	var out []string
	for _, f := range v.Findings {
		if f.Severity != finding.Note && !slices.Contains(explained, f.Code) {
			out = append(out, f.Code+": "+f.Message)
		}
	}
	return out
}

// Each fault is planted once, some together in one view, and must be found with its
// severity.
func TestPlantedFaults(t *testing.T) {
	t.Parallel()
	names := []string{"dining", "bath", "kitchen", "guest", "entry"}
	plan := map[string][]simcam.Fault{
		"dining":  {simcam.ClippedWindow, simcam.LowISO},
		"bath":    {simcam.MissingFrame, simcam.WrongBalance},
		"kitchen": {simcam.Bump, simcam.Shake},
		"guest":   {simcam.DarkShadows, simcam.Aperture, simcam.DeadFile},
		"entry":   {simcam.Blur, simcam.HighISO},
	}
	r := shoot(t, scenes(t, names...), plan, Options{})
	if len(r.Views) != len(names) {
		t.Fatalf("%d views", len(r.Views))
	}
	for i, n := range names {
		for _, f := range plan[n] {
			if v := &r.Views[i]; !found(r, v, f) {
				t.Errorf("%s in %s was not found; found were %v", f, n, codes(v))
			}
		}
	}
	if !r.ShootAgain() || len(r.Reshoot) == 0 {
		t.Error("nothing is to be shot again")
	}
}

func TestFlickerTiltAndFan(t *testing.T) {
	t.Parallel()
	plan := map[string][]simcam.Fault{"bath": {simcam.Flicker}, "entry": {simcam.Tilt, simcam.Fan}}
	r := shoot(t, scenes(t, "bath", "entry"), plan, Options{})
	for i, list := range [][]simcam.Fault{plan["bath"], plan["entry"]} {
		for _, f := range list {
			if v := &r.Views[i]; !found(r, v, f) {
				t.Errorf("%s was not found; found were %v", f, codes(v))
			}
		}
	}
}

func codes(v *View) (list []string) {
	for _, f := range v.Findings {
		list = append(list, f.Code+" "+string(f.Severity))
	}
	return list
}

// A survey of every fault in several views, for the figures: run with
// MULLION_FAULTS=1 go test -v -run Survey -timeout 30m ./check
func TestSurveyOfFaults(t *testing.T) {
	if os.Getenv("MULLION_FAULTS") == "" {
		t.Skip("set MULLION_FAULTS=1 to plant every fault in several views")
	}
	names := []string{"entry", "living", "dining", "kitchen", "kitchenwide", "guest", "bath", "shower"}
	hit, tries := map[simcam.Fault]int{}, map[simcam.Fault]int{}
	var extra []string
	all := slices.DeleteFunc(simcam.Faults(), func(f simcam.Fault) bool { return f == simcam.Dust })
	for round := range 4 {
		for half := 0; half < len(all); half += len(names) {
			plan := map[string][]simcam.Fault{}
			for i, n := range names {
				if k := half + i; k < len(all) {
					plan[names[(i+2*round)%len(names)]] = []simcam.Fault{all[k]}
				} else {
					_ = n
				}
			}
			r := shoot(t, scenes(t, names...), plan, Options{})
			for i := range r.Views {
				v, name := &r.Views[i], names[min(i, len(names)-1)]
				list := plan[name]
				if len(list) == 0 {
					extra = append(extra, prefix(name+" clean", alarms(v, "window-clipped", "tilt"))...)
					continue
				}
				f := list[0]
				tries[f]++
				if found(r, v, f) {
					hit[f]++
				} else {
					t.Logf("missed %s in %s: %v", f, name, codes(v))
				}
				extra = append(extra, prefix(name+" "+string(f), alarms(v, append(expected[f].codes, "window-clipped", "tilt")...))...)
			}
		}
	}
	for _, f := range all {
		t.Logf("%-16s %d of %d", f, hit[f], tries[f])
	}
	for _, e := range extra {
		t.Log("beside it: ", e)
	}
}

func prefix(p string, list []string) []string {
	for i := range list {
		list[i] = p + ": " + list[i]
	}
	return list
}

// Dust in all views of a card, of which one lacks its darkest frame besides.
func TestDust(t *testing.T) {
	t.Parallel()
	names := []string{"kitchen", "bath", "shower", "dining"}
	plan := map[string][]simcam.Fault{}
	for _, n := range names {
		plan[n] = []simcam.Fault{simcam.Dust}
	}
	plan["dining"] = append(plan["dining"], simcam.MissingEnd)
	r := shoot(t, scenes(t, names...), plan, Options{})
	i := slices.IndexFunc(r.Findings, func(f finding.Finding) bool { return f.Code == "dust" })
	if i < 0 {
		t.Fatal("four specks in six views were not found")
	}
	if n := r.Findings[i].Value; n < 2 || n > 5 {
		t.Errorf("%v spots found of 4", n)
	}
	if !found(r, &r.Views[3], simcam.MissingEnd) { // three whole brackets make a habit
		t.Errorf("the missing frame was not found: %v", codes(&r.Views[3]))
	}
}

// The demo card's brackets are sound but for what its makers put in: a fan that turns, a
// tilt, and windows in which a part of the sky clips.
func TestCleanCard(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "card")
	if err := demo.Write(t.Context(), dir, demo.Options{Only: []string{"entry", "living", "kitchen", "bath", "shower"}}, nil); err != nil {
		t.Fatal(err)
	}
	order := []string{}
	r, err := Run(t.Context(), dir, Options{Pictures: true, View: func(v *View) { order = append(order, v.ID) }})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Reshoot) != 0 || r.ShootAgain() {
		t.Errorf("to be shot again: %v", r.List())
	}
	for _, f := range r.Findings {
		t.Errorf("of the card: %s", f.Message)
	}
	if len(order) != 5 || !slices.IsSorted(order) {
		t.Errorf("told in the order %v", order)
	}
	for i := range r.Views {
		for _, a := range alarms(&r.Views[i], "window-clipped", "tilt") {
			if !(i == 1 && strings.HasPrefix(a, "moving")) {
				t.Errorf("%s: %s", r.Views[i].ID, a)
			}
		}
	}
	var page strings.Builder
	if err := r.Page(&page); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"view-05", "data:image/jpeg", `class="moving"`, `class="clip"`, "Nothing has to be shot again"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page has no %q", want)
		}
	}
	if strings.Contains(page.String(), "http://") || strings.Contains(page.String(), "https://") {
		t.Error("the page is not self-contained")
	}
}
