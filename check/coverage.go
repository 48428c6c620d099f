package check

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"mullion/finding"
	"mullion/jobfile"
)

// Coverage compares the views with what the job asks for.
type Coverage struct {
	Property string            `json:"property,omitempty"`
	Owed     int               `json:"owed"`   // finished pictures sold
	Views    int               `json:"views"`  // taken
	Marked   bool              `json:"marked"` // rooms were told apart by marks, not by order and pauses alone
	Rooms    []RoomCoverage    `json:"rooms"`
	Findings []finding.Finding `json:"findings"`
	Missing  []string          `json:"missing"` // rooms that need more views
}

// RoomCoverage is one room of the job.
type RoomCoverage struct {
	Room     string   `json:"room"`
	Wanted   int      `json:"wanted"`
	Vertical int      `json:"vertical_wanted,omitempty"`
	Views    []string `json:"views"` // ids
}

// cover assigns the views to the job's rooms and says what is missing.
func cover(job *jobfile.Job, views []*View) *Coverage {
	if job == nil {
		return nil
	}
	c := &Coverage{Property: job.Property, Owed: job.Owed(), Rooms: []RoomCoverage{}, Findings: []finding.Finding{}, Missing: []string{}}
	var taken []*View
	var starts []bool // a mark stands before this view
	marked := false
	for _, v := range views {
		if v.Mark {
			c.Marked, marked = true, true
			continue
		}
		if v.MarkBefore {
			c.Marked, marked = true, true
		}
		taken = append(taken, v)
		starts = append(starts, marked)
		marked = false
	}
	c.Views = len(taken)
	for i, n := range assign(job, taken, starts, c.Marked) {
		r := job.Rooms[i]
		one := RoomCoverage{Room: r.Name, Wanted: r.Views, Vertical: r.Vertical, Views: []string{}}
		upright := 0
		for _, v := range taken[:n] {
			v.Room = r.Name
			one.Views = append(one.Views, v.ID)
			if v.trace.portrait {
				upright++
			}
		}
		taken = taken[n:]
		c.Rooms = append(c.Rooms, one)
		c.judgeRoom(r, n, upright)
	}
	c.judgeWhole(job, views)
	return c
}

func (c *Coverage) say(code string, sev finding.Severity, v float64, format string, args ...any) {
	c.Findings = append(c.Findings, finding.Finding{Code: code, Severity: sev, Message: fmt.Sprintf(format, args...), Value: v, Unit: "views"})
}

func (c *Coverage) judgeRoom(r jobfile.Room, n, upright int) {
	how := ""
	if !c.Marked {
		how = ", counted in the order of shooting"
	}
	switch {
	case n == 0:
		c.Missing = append(c.Missing, r.Name)
		c.say("room-missing", finding.Reshoot, float64(r.Views), "There is no view of the %s%s; the job asks for %d. Go back and shoot it.", r.Name, how, r.Views)
	case n < r.Views:
		c.Missing = append(c.Missing, r.Name)
		c.say("room-short", finding.Reshoot, float64(r.Views-n), "The %s has %s and the job asks for %d%s. Shoot %d more.", r.Name, count(n, "view"), r.Views, how, r.Views-n)
	case n > r.Views:
		c.say("room-over", finding.Note, float64(n-r.Views), "The %s has %d views, %d more than the job asks for%s.", r.Name, n, n-r.Views, how)
	}
	if n > 0 && upright < r.Vertical {
		c.say("vertical-missing", finding.Reshoot, float64(r.Vertical-upright), "The job asks for %s of the %s on end and there %s. Turn the camera and shoot %d more.",
			count(r.Vertical, "view"), r.Name, isAre(upright), r.Vertical-upright)
	}
}

func isAre(n int) string {
	switch n {
	case 0:
		return "is none"
	case 1:
		return "is 1"
	}
	return fmt.Sprintf("are %d", n)
}

func (c *Coverage) judgeWhole(job *jobfile.Job, views []*View) {
	for i, r := range job.Rooms {
		if r.Outside && len(c.Rooms[i].Views) > 0 && darkIndoors(c.Rooms[i].Views, views) {
			c.say("no-exterior", finding.Look, 0, "What was counted as the %s (%s) is no brighter than a room. If it wasn't taken at dusk, the %s is missing.", r.Name, strings.Join(c.Rooms[i].Views, ", "), r.Name)
		}
	}
	if !slices.ContainsFunc(job.Rooms, func(r jobfile.Room) bool { return r.Outside }) && c.Views > 0 && allIndoors(views) {
		c.say("no-exterior", finding.Look, 0, "The job names no front and no view was taken outdoors. Most listing services want the front of the house as the first picture: shoot it, or leave it out on purpose.")
	}
	switch {
	case c.Views < c.Owed:
		c.say("package-short", finding.Reshoot, float64(c.Owed-c.Views), "%s taken and %d are owed: %d too few.", count(c.Views, "view"), c.Owed, c.Owed-c.Views)
	case job.Package > 0 && c.Views > c.Owed:
		c.say("package-over", finding.Note, float64(c.Views-c.Owed), "%d views taken and %d are owed: choose, or sell %d more.", c.Views, c.Owed, c.Views-c.Owed)
	}
}

// darkIndoors reports whether the brightness of the views is known and none is as bright
// as daylight outdoors.
func darkIndoors(ids []string, views []*View) bool {
	for _, v := range views {
		if slices.Contains(ids, v.ID) && (!v.trace.absolute || v.trace.exterior) {
			return false
		}
	}
	return true
}

// allIndoors reports whether every view is known to be darker than daylight outdoors.
func allIndoors(views []*View) bool {
	return !slices.ContainsFunc(views, func(v *View) bool { return !v.Mark && (!v.trace.absolute || v.trace.exterior) })
}

// assign cuts the views, in their order, into the job's rooms and returns how many each
// gets. The best cut has the numbers asked for, its boundaries at marks or long walks,
// and outdoor rooms outdoors (dynamic programming over rooms and views). Views that are
// left over belong to the last room.
func assign(job *jobfile.Job, views []*View, starts []bool, marked bool) []int {
	n, m := len(views), len(job.Rooms)
	if m == 0 {
		return nil
	}
	cost := func(room, from, to int) float64 {
		r := job.Rooms[room]
		c := 1.0 * math.Abs(float64(to-from-r.Views))
		if to == from {
			c += .6
		}
		for i := from; i < to; i++ {
			switch t := &views[i].trace; {
			case t.absolute && t.exterior && !r.Outside:
				c += 3
			case t.absolute && !t.exterior && r.Outside:
				c += 1.2 // it may be dusk
			}
			switch {
			case i > from && starts[i]:
				c += 4 // a mark inside a room
			case i == from && i > 0 && marked && !starts[i]:
				c += 4 // a room that begins without one
			}
		}
		return c
	}
	best := make([][]float64, m+1)
	from := make([][]int, m+1)
	for r := range best {
		best[r], from[r] = make([]float64, n+1), make([]int, n+1)
		for k := range best[r] {
			best[r][k] = math.Inf(1)
		}
	}
	best[0][0] = 0
	for r := range m {
		for k := 0; k <= n; k++ {
			for j := 0; j <= k; j++ {
				if c := best[r][j] + cost(r, j, k); c < best[r+1][k] {
					best[r+1][k], from[r+1][k] = c, j
				}
			}
		}
	}
	out := make([]int, m)
	for r, k := m, n; r > 0; r-- {
		out[r-1] = k - from[r][k]
		k = from[r][k]
	}
	return out
}
