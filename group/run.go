package group

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"mullion/metadata"
)

// run is a stretch of frames in shooting order inside which a view may lie:
// one camera, one lens setting, one orientation.
type run struct {
	album  *album
	index  []int // into the frames given
	frames []Frame
	ev     []float64 // NaN when unknown
	gap    []float64 // gap[k]: s between the end of frame k-1 and the start of k; NaN when unknown
	coarse bool      // times are whole seconds
	why    string    // why it starts where it does; empty at the beginning of a card

	scores  [][]float64 // scores[i][n-1]: frames i to i+n as one view
	content []float64   // not nil: boundaries at which pictures are compared have 1
	cuts    []float64   // probability of a cut before frame k
	ends    []int       // the best cut: the end of each view
}

// split orders the frames and cuts them where no view can go on: another camera,
// focal length, orientation or size, or another folder when no time joins them.
func split(frames []Frame) []*run {
	streams := map[string][]int{}
	var keys []string
	for i, f := range frames {
		k := stream(f)
		if _, ok := streams[k]; !ok {
			keys = append(keys, k)
		}
		streams[k] = append(streams[k], i)
	}
	var runs []*run
	for _, k := range keys {
		runs = append(runs, splitStream(frames, streams[k])...)
	}
	return runs
}

// stream names the sequence a frame belongs to. Cameras count on through folders;
// files without a camera's name or time belong to their folder.
func stream(f Frame) string {
	i := f.Info
	key := i.Make + "|" + i.Model
	if i.Time.IsZero() {
		dir := filepath.Dir(f.Path)
		if i.Model != "" && dcimFolder(filepath.Base(dir)) {
			dir = filepath.Dir(dir) // 100CANON runs over into 101CANON
		}
		key += "|no time|" + dir
	}
	return key
}

// dcimFolder reports whether a folder has a name by the rule of DCF (JEITA
// CP-3461): three digits from 100 and five characters.
func dcimFolder(name string) bool {
	return len(name) == 8 && name[0] >= '1' && name[0] <= '9' && strings.Trim(name[1:3], "0123456789") == ""
}

func splitStream(frames []Frame, index []int) []*run {
	slices.SortStableFunc(index, func(a, b int) int { return compare(frames[a], frames[b]) })
	var runs []*run
	start, why := 0, ""
	for k := 1; k <= len(index); k++ {
		next := ""
		if k < len(index) {
			if next = barrier(frames[index[k-1]].Info, frames[index[k]].Info); next == "" {
				continue
			}
		}
		runs = append(runs, newRun(frames, index[start:k], why))
		start, why = k, next
	}
	judgeClock(runs)
	return runs
}

// barrier says what change between two frames ends any view, or "".
func barrier(a, b metadata.Info) string {
	switch {
	case a.Orientation != b.Orientation && a.Orientation > 0 && b.Orientation > 0:
		return "the camera was turned"
	case a.Lens != b.Lens && a.Lens != "" && b.Lens != "":
		return "another lens"
	case a.FocalMM > 0 && b.FocalMM > 0 && math.Abs(a.FocalMM/b.FocalMM-1) > 0.01 && !slipped(a, b):
		return fmt.Sprintf("the focal length changed from %.4g to %.4g mm", a.FocalMM, b.FocalMM)
	case a.Width > 0 && b.Width > 0 && (a.Width != b.Width || a.Height != b.Height):
		return fmt.Sprintf("the picture size changed from %d x %d to %d x %d", a.Width, a.Height, b.Width, b.Height)
	}
	return ""
}

// slipped reports whether the zoom ring moved between two frames of one burst: by a
// little, and sooner than anybody composes another view.
func slipped(a, b metadata.Info) bool {
	if a.Time.IsZero() || b.Time.IsZero() || math.Abs(math.Log(a.FocalMM/b.FocalMM)) > 0.2 {
		return false
	}
	gap := b.Time.Sub(a.Time).Seconds() - a.Seconds
	return gap > -0.5 && gap <= 1
}

func newRun(frames []Frame, index []int, why string) *run {
	r := &run{index: index, why: why, coarse: true}
	for k, i := range index {
		f := frames[i]
		r.frames = append(r.frames, f)
		ev, ok := f.Info.Exposure()
		if !ok {
			ev = math.NaN()
		}
		r.ev = append(r.ev, ev)
		gap := math.NaN()
		if k > 0 && !f.Info.Time.IsZero() && !frames[index[k-1]].Info.Time.IsZero() {
			before := frames[index[k-1]].Info
			gap = max(0, f.Info.Time.Sub(before.Time).Seconds()-before.Seconds)
		}
		r.gap = append(r.gap, gap)
		if f.Info.Time.Nanosecond() != 0 {
			r.coarse = false
		}
	}
	return r
}

// judgeClock drops a camera's times when they can't be true: the frames together
// were exposed for longer than the times allow, or there are many at one instant.
func judgeClock(runs []*run) {
	var exposed float64
	n := 0
	var first, last Frame
	for _, r := range runs {
		for _, f := range r.frames {
			if n == 0 {
				first = f
			}
			last = f
			exposed += f.Info.Seconds
			n++
		}
		exposed -= r.frames[len(r.frames)-1].Info.Seconds
	}
	span := last.Info.Time.Sub(first.Info.Time).Seconds()
	tooShort := span+1 < 0.7*exposed || span+1 < 0.04*float64(n)
	if first.Info.Time.IsZero() || !tooShort && (span > 0 || n <= 3) {
		return
	}
	for _, r := range runs {
		for k := range r.gap {
			r.gap[k] = math.NaN()
		}
	}
}
