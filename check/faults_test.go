package check

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/demo"
	"mullion/finding"
	"mullion/jobfile"
	"mullion/simcam"
)

// expected is the code that has to be found for each planted fault, and how grave it
// must be at least.
var expected = map[simcam.Fault]struct {
	codes []string
	grave finding.Severity
}{
	simcam.ClippedWindow: {[]string{"window-clipped", "sky-clipped", "highlights-clipped"}, finding.Reshoot},
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
	simcam.Uneven:        {[]string{"bracket-uneven"}, finding.Note},
	simcam.Focus:         {[]string{"frame-soft"}, finding.Look},
	simcam.Near:          {[]string{"near-edge-soft"}, finding.Look},
	simcam.Zoom:          {[]string{"focal-length-changed"}, finding.Reshoot},
	simcam.AutoISO:       {[]string{"iso-changed"}, finding.Look},
	simcam.LampOff:       {[]string{"room-darker"}, finding.Look},
	simcam.Veil:          {[]string{"flare"}, finding.Look},
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

// survey is what is planted for the figures: kinds and strengths, two and two on a card
// of eight views, four views each and then the other four, so that a view always has
// sound neighbours.
var survey = []struct {
	kind      simcam.Fault
	strengths []float64
}{
	{simcam.ClippedWindow, []float64{1. / 3, 2. / 3, 1}}, {simcam.DarkShadows, []float64{.7, 1}}, {simcam.MissingFrame, []float64{1}},
	{simcam.Bump, []float64{.5, 1, 3}}, {simcam.Uneven, []float64{1}}, {simcam.Zoom, []float64{.5, 1}}, {simcam.DeadFile, []float64{1}},
	{simcam.Blur, []float64{.5, 1, 2}}, {simcam.Shake, []float64{.5, 1}}, {simcam.Focus, []float64{.5, 1}}, {simcam.Near, []float64{.5, 1}},
	{simcam.WrongBalance, []float64{1}}, {simcam.LowISO, []float64{1}}, {simcam.HighISO, []float64{1}}, {simcam.AutoISO, []float64{1}}, {simcam.Aperture, []float64{1}},
	{simcam.Flicker, []float64{.3, 1}}, {simcam.Tilt, []float64{.5, 1}}, {simcam.Fan, []float64{.5, 1}}, {simcam.Veil, []float64{.5, 1}},
}

var house = []string{"entry", "living", "dining", "kitchen", "kitchenwide", "guest", "bath", "shower"}

// The detection rate of every planted fault at several strengths over all eight views
// of the demo house, and what is said beside it; "make faults" prints the table.
func TestSurveyOfFaults(t *testing.T) {
	if os.Getenv("MULLION_FAULTS") == "" {
		t.Skip("make faults plants every fault in every view")
	}
	type planted struct {
		kind     simcam.Fault
		strength float64
	}
	var all []planted
	for _, s := range survey {
		for _, k := range s.strengths {
			all = append(all, planted{s.kind, k})
		}
	}
	if len(all)%2 == 1 {
		all = append(all, planted{})
	}
	if os.Getenv("MULLION_FAULTS") != "views" {
		surveyDust(t)
		surveyRooms(t)
		surveyEnds(t)
	}
	if os.Getenv("MULLION_FAULTS") == "cards" {
		return
	}
	for i := 0; i < len(all); i += 2 {
		var hit, said, tries [2]int
		for turn := range 2 {
			plan := map[string][]simcam.Fault{}
			which := map[string]int{}
			for j, n := range house {
				k := (j + turn) % 2
				if which[n] = k; all[i+k].kind != "" {
					plan[n] = []simcam.Fault{all[i+k].kind.Times(all[i+k].strength)}
				}
			}
			r := shoot(t, scenes(t, house...), plan, Options{})
			if len(r.Views) != len(house) {
				t.Logf("%v: %d views", plan, len(r.Views))
			}
			for j := range min(len(r.Views), len(house)) {
				v, n := &r.Views[j], house[j]
				k := which[n]
				p := all[i+k]
				tries[k]++
				if found(r, v, p.kind) {
					hit[k]++
				} else if p.kind != "" {
					t.Logf("    missed %s x%g in %s: %v", p.kind, p.strength, n, codes(v))
				}
				if v.hasAny(expected[p.kind].codes) {
					said[k]++
				}
				for _, a := range alarms(v, append(trueOfTheHouse[n], expected[p.kind].codes...)...) {
					t.Logf("    beside %s x%g in %s: %s", p.kind, p.strength, n, a)
				}
			}
		}
		for k := range 2 {
			if p := all[i+k]; p.kind != "" {
				t.Logf("%-16s x%-5.3g found %d of %d, said as a note %d more", p.kind, p.strength, hit[k], tries[k], max(0, said[k]-hit[k]))
			}
		}
	}
}

// trueOfTheHouse are the findings that the views have without any fault planted.
var trueOfTheHouse = map[string][]string{
	"entry": {"window-clipped"}, "guest": {"window-clipped"},
	"living": {"tilt"}, "kitchenwide": {"tilt"}, "shower": {"tilt"},
}

func (v *View) hasAny(codes []string) bool {
	return slices.ContainsFunc(v.Findings, func(f finding.Finding) bool { return slices.Contains(codes, f.Code) })
}

// surveyDust plants four specks in all views.
func surveyDust(t *testing.T) {
	for _, k := range []float64{0, .5, 1, 2} {
		plan := map[string][]simcam.Fault{}
		for _, n := range house {
			if k > 0 {
				plan[n] = []simcam.Fault{simcam.Dust.Times(k)}
			}
		}
		r := shoot(t, scenes(t, house...), plan, Options{})
		n := 0.
		for _, f := range r.Findings {
			if f.Code == "dust" {
				n = f.Value
			}
		}
		planted := 4
		if k == 0 {
			planted = 0
		}
		t.Logf("dust x%g: %v spots found of %d", k, n, planted)
		if k == 0 {
			for i := range r.Views {
				for _, a := range alarms(&r.Views[i]) {
					t.Logf("    clean %s: %s", house[i], a)
				}
			}
		}
	}
}

// surveyEnds takes the darkest frame from two views of a card at a time: that it is
// missing shows by what the photographer does in the others.
func surveyEnds(t *testing.T) {
	hit := 0
	for i := range 4 {
		a, b := house[i], house[i+4]
		r := shoot(t, scenes(t, house...), map[string][]simcam.Fault{a: {simcam.MissingEnd}, b: {simcam.MissingEnd}}, Options{})
		for _, j := range []int{i, i + 4} {
			if found(r, &r.Views[j], simcam.MissingEnd) {
				hit++
			} else {
				t.Logf("    missed missing end in %s: %v", house[j], codes(&r.Views[j]))
			}
		}
	}
	t.Logf("%-16s found %d of %d", simcam.MissingEnd, hit, len(house))
}

// surveyRooms takes every view twice, the second time with a lamp left off: the same
// composition, and a darker one of its room.
func surveyRooms(t *testing.T) {
	for _, k := range []float64{.6, 1} {
		job := &jobfile.Job{}
		var views []simcam.View
		plan := map[string][]simcam.Fault{}
		for _, n := range house {
			pair := scenes(t, n, n)
			pair[1].Name += " again"
			views = append(views, pair...)
			plan[pair[1].Name] = []simcam.Fault{simcam.LampOff.Times(k)}
			job.Rooms = append(job.Rooms, jobfile.Room{Name: n, Views: 2})
		}
		r := shoot(t, views, plan, Options{Job: job})
		dark, twins := 0, 0
		for i := 1; i < len(r.Views); i += 2 {
			if found(r, &r.Views[i], simcam.LampOff) {
				dark++
			}
			if r.Views[i].has("near-duplicate") {
				twins++
			}
		}
		t.Logf("lamp off x%g: %d of %d; near-duplicate: %d of %d", k, dark, len(house), twins, len(house))
	}
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
