package finish

import (
	"path/filepath"
	"testing"

	"mullion/simcam"
)

// Small views are worked on two at a time, large ones singly, and what is finished
// already doesn't count.
func TestAtOnce(t *testing.T) {
	taken := func(scale float64) *work {
		s := simcam.Defaults()
		s.Scale, s.EV = scale, []float64{0}
		_, paths := photograph(t, filepath.Join(t.TempDir(), "card"), s, scenes(t, "bath")...)
		return &work{paths: paths, places: []place{{due: true}}}
	}
	small, large := taken(.3), taken(2.5) // of 0.2 and 13 megapixels
	done := &work{paths: large.paths, places: []place{{due: false}}}
	gone := &work{paths: []string{filepath.Join(t.TempDir(), "gone.dng")}, places: []place{{due: true}}}
	for _, c := range []struct {
		jobs int
		work []*work
		want int
	}{
		{0, []*work{small, small}, 2},
		{0, []*work{small, large}, 1},
		{0, []*work{small, done}, 2},
		{0, []*work{gone}, 2},
		{3, []*work{large}, 3},
	} {
		l := &line{job: &Job{Jobs: c.jobs}, work: c.work}
		if got := l.atOnce(t.Context()); got != c.want {
			t.Errorf("%d jobs, %d views: %d at once, want %d", c.jobs, len(c.work), got, c.want)
		}
	}
}
