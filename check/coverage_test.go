package check

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"mullion/finding"
	"mullion/jobfile"
	"mullion/simcam"
)

// taken makes views that only coverage looks at: o outdoors, i indoors, v indoors on
// end, | a room mark.
func taken(s string) []*View {
	var out []*View
	for _, c := range s {
		v := &View{ID: "view-" + string(rune('a'+len(out)))}
		v.trace.absolute = true
		switch c {
		case 'o':
			v.trace.exterior = true
		case 'v':
			v.trace.portrait = true
		case '|':
			v.Mark = true
		}
		out = append(out, v)
	}
	return out
}

const houseJob = `
package = 6
[[room]]
name = "front"
views = 1
front = true
[[room]]
name = "hall"
views = 1
[[room]]
name = "kitchen"
views = 3
vertical = 1
[[room]]
name = "garden"
views = 1
outside = true
`

func TestCoverage(t *testing.T) {
	job, err := jobfile.Parse([]byte(houseJob))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		views  string
		counts []int
		codes  []string
	}{
		{"oiiivo", []int{1, 1, 3, 1}, nil},
		{"oiiiio", []int{1, 1, 3, 1}, []string{"vertical-missing"}},
		{"oiivo", []int{1, 1, 2, 1}, []string{"room-short", "package-short"}},
		{"iiivo", []int{0, 1, 3, 1}, []string{"room-missing", "package-short"}},
		{"oiiiv", []int{1, 1, 3, 0}, []string{"room-missing", "package-short"}},
		{"o|i|iiv|o", []int{1, 1, 3, 1}, nil},
		{"o|ii|iv|o", []int{1, 2, 2, 1}, []string{"room-over", "room-short"}},
		{"iiivii", []int{1, 1, 3, 1}, []string{"no-exterior", "no-exterior"}},
	} {
		cov := cover(job, taken(c.views))
		var counts []int
		for _, r := range cov.Rooms {
			counts = append(counts, len(r.Views))
		}
		if !slices.Equal(counts, c.counts) {
			t.Errorf("%s: rooms have %v views, want %v", c.views, counts, c.counts)
		}
		var got []string
		for _, f := range cov.Findings {
			got = append(got, f.Code)
		}
		if !slices.Equal(got, c.codes) {
			t.Errorf("%s: %v, want %v", c.views, got, c.codes)
		}
	}
	if cover(nil, taken("oi")) != nil {
		t.Error("coverage without a job")
	}
}

func TestNoExterior(t *testing.T) {
	job, err := jobfile.Parse([]byte("[[room]]\nname='front'\nfront=true\n[[room]]\nname='hall'"))
	if err != nil {
		t.Fatal(err)
	}
	cov := cover(job, taken("ii"))
	if !slices.ContainsFunc(cov.Findings, func(f finding.Finding) bool { return f.Code == "no-exterior" || f.Code == "room-missing" }) {
		t.Errorf("%+v", cov.Findings)
	}
}

// A lamp left off in one of a room's views is seen when the job tells the rooms.
func TestDarkRoom(t *testing.T) {
	views := taken("iii")
	for i, v := range views {
		v.Room, v.trace.room = "kitchen", []float64{1, -.6, .7}[i]
	}
	judgeDark(views)
	if !views[1].has("room-darker") || views[0].has("room-darker") || views[2].has("room-darker") {
		t.Errorf("%v %v %v", views[0].Findings, views[1].Findings, views[2].Findings)
	}
}

// The JSON has the fields that programs were promised.
func TestJSON(t *testing.T) {
	job, err := jobfile.Parse([]byte("[[room]]\nname='bath'\n[[room]]\nname='attic'"))
	if err != nil {
		t.Fatal(err)
	}
	r := shoot(t, scenes(t, "bath"), map[string][]simcam.Fault{"bath": {simcam.MissingFrame}}, Options{Job: job})
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Views []struct {
			ID       string
			Room     string
			Frames   []struct{ File string }
			Findings []finding.Finding
		}
		Reshoot  []string
		Coverage struct{ Missing []string }
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Views) != 1 || got.Views[0].ID != "view-01" || len(got.Views[0].Frames) != 4 || !strings.HasSuffix(got.Views[0].Frames[0].File, ".DNG") {
		t.Fatalf("%s", b)
	}
	if !slices.Equal(got.Reshoot, []string{"view-01"}) || len(got.Coverage.Missing) != 1 {
		t.Errorf("reshoot %v, missing %v", got.Reshoot, got.Coverage.Missing)
	}
	for _, f := range got.Views[0].Findings {
		if f.Code == "" || f.Message == "" || !slices.Contains([]finding.Severity{"reshoot", "look", "note"}, f.Severity) {
			t.Errorf("%+v", f)
		}
	}
}

// A job that forgot the front is told so, unless somebody stepped outside.
func TestForgottenFront(t *testing.T) {
	job, err := jobfile.Parse([]byte("[[room]]\nname = \"hall\"\nviews = 2\n"))
	if err != nil {
		t.Fatal(err)
	}
	for views, want := range map[string]bool{"ii": true, "io": false} {
		cov := cover(job, taken(views))
		if got := slices.ContainsFunc(cov.Findings, func(f finding.Finding) bool { return f.Code == "no-exterior" }); got != want {
			t.Errorf("%s: said %v, want %v", views, got, want)
		}
	}
}
