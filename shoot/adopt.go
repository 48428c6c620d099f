package shoot

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Bracket is a view as grouping found it, before it has a name in this shoot.
type Bracket struct {
	Frames  []Frame // darkest first
	Reasons []string
}

// Adopt enters brackets, given in shooting order, and returns the ID of each. A
// bracket that shares frames (by their hashes) with a view of the document is that
// view: it keeps its ID, room and decisions. Where several do, the one that shares
// most comes first. New brackets get the next numbers; a number is never used
// twice. Views of other cards stay; a view goes only when all its frames have been
// taken over by others.
func (d *Doc) Adopt(brackets []Bracket) []string {
	ids := make([]string, len(brackets))
	d.matchKnown(brackets, ids)
	taken := map[string]bool{}
	for i, b := range brackets {
		if ids[i] == "" {
			d.LastView++
			ids[i] = fmt.Sprintf("view-%02d", d.LastView)
			d.Views = append(d.Views, View{ID: ids[i]})
		}
		v := d.View(ids[i])
		v.Frames, v.Reasons = keepExtra(b.Frames, v.Frames), b.Reasons
		for _, f := range b.Frames {
			taken[f.SHA256] = true
		}
	}
	d.Views = slices.DeleteFunc(d.Views, func(v View) bool {
		return !slices.Contains(ids, v.ID) && len(v.Frames) > 0 &&
			!slices.ContainsFunc(v.Frames, func(f Frame) bool { return !taken[f.SHA256] })
	})
	return ids
}

// matchKnown gives brackets the IDs of the views they share most frames with.
func (d *Doc) matchKnown(brackets []Bracket, ids []string) {
	type match struct{ shared, extra, bracket, view int }
	at := map[string][]int{} // hash -> views
	for v, view := range d.Views {
		for _, f := range view.Frames {
			if f.SHA256 != "" {
				at[f.SHA256] = append(at[f.SHA256], v)
			}
		}
	}
	var matches []match
	for b, bracket := range brackets {
		shared := map[int]int{}
		for _, f := range bracket.Frames {
			for _, v := range at[f.SHA256] {
				shared[v]++
			}
		}
		for v, n := range shared {
			matches = append(matches, match{n, len(d.Views[v].Frames) + len(bracket.Frames) - 2*n, b, v})
		}
	}
	slices.SortFunc(matches, func(a, b match) int {
		return cmpAll(b.shared-a.shared, a.extra-b.extra, a.bracket-b.bracket, a.view-b.view)
	})
	used := map[int]bool{}
	for _, m := range matches {
		if ids[m.bracket] == "" && !used[m.view] {
			ids[m.bracket] = d.Views[m.view].ID
			used[m.view] = true
		}
	}
}

func cmpAll(differences ...int) int {
	for _, d := range differences {
		if d != 0 {
			return d
		}
	}
	return 0
}

// keepExtra carries unknown fields of frames over to the same frames.
func keepExtra(frames, before []Frame) []Frame {
	out := slices.Clone(frames)
	for i := range out {
		for _, b := range before {
			if b.SHA256 == out[i].SHA256 && out[i].Extra == nil {
				out[i].Extra = b.Extra
			}
		}
	}
	return out
}

// number is the 7 of "view-07", 0 for other names.
func number(id string) int {
	digits, ok := strings.CutPrefix(id, "view-")
	if !ok {
		return 0
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 0 {
		return 0
	}
	return n
}
