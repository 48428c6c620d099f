package studio

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"time"

	"mullion/card/disk"
	"mullion/shoot"
)

// journalName is the journal's file in the shoot.
const journalName = "journal.json"

// journalMax is how many changes can be undone.
const journalMax = 100

// state is the part of a view that a person decides.
type state struct {
	Order     int             `json:"order,omitempty"`
	Room      string          `json:"room,omitempty"`
	Caption   string          `json:"caption,omitempty"`
	Alt       string          `json:"alt,omitempty"`
	Decisions shoot.Decisions `json:"decisions,omitzero"`
	Edits     []shoot.Edit    `json:"edits,omitempty"`
}

func stateOf(v *shoot.View) state {
	return state{v.Order, v.Room, v.Caption, v.Alt, v.Decisions, v.Edits}
}

func (s state) put(v *shoot.View) {
	v.Order, v.Room, v.Caption, v.Alt, v.Decisions, v.Edits = s.Order, s.Room, s.Caption, s.Alt, s.Decisions, s.Edits
}

// step is what a change did to one view.
type step struct {
	View   string `json:"view"`
	Before state  `json:"before"`
	After  state  `json:"after"`
}

// entry is one change of a person.
type entry struct {
	What  string    `json:"what"` // for the undo button: "room light of view-03"
	At    time.Time `json:"at"`
	Steps []step    `json:"steps"`
	// Pack is how the pictures are handed over, before and after, when that changed.
	Pack *[2]packState `json:"pack,omitempty"`
}

// packState is the part of a shoot's package that a person decides.
type packState struct {
	Title    string   `json:"title,omitempty"`
	Subtitle string   `json:"subtitle,omitempty"`
	Branded  bool     `json:"branded,omitempty"`
	Letter   bool     `json:"letter,omitempty"`
	Count    int      `json:"count,omitempty"`
	Sheets   []string `json:"sheets,omitempty"`
}

func (s packState) same(o packState) bool {
	sheets := slices.Equal(s.Sheets, o.Sheets)
	s.Sheets, o.Sheets = nil, nil
	return sheets && reflect.DeepEqual(s, o)
}

func packOf(d *shoot.Doc) packState {
	if d.Pack == nil {
		return packState{}
	}
	p := d.Pack
	return packState{p.Title, p.Subtitle, p.Branded, p.Letter, p.Count, slices.Clone(p.Sheets)}
}

func (s packState) put(d *shoot.Doc) {
	p := shoot.Pack{}
	if d.Pack != nil {
		p = *d.Pack
	}
	p.Title, p.Subtitle, p.Branded, p.Letter, p.Count, p.Sheets = s.Title, s.Subtitle, s.Branded, s.Letter, s.Count, slices.Clone(s.Sheets)
	d.Pack = &p
}

// journal lists the changes of a shoot. Those from Done on have been undone.
type journal struct {
	Version int     `json:"version"`
	Entries []entry `json:"entries"`
	Done    int     `json:"done"`
}

// readJournal reads the journal of a shoot. One that is damaged counts as empty: it
// can only be missed, and the shoot itself is whole.
func readJournal(dir string) (journal, error) {
	empty := journal{Version: 1}
	b, err := os.ReadFile(filepath.Join(dir, journalName))
	if errors.Is(err, fs.ErrNotExist) {
		return empty, nil
	}
	if err != nil {
		return empty, fmt.Errorf("the shoot's journal can't be read: %w", err)
	}
	j := journal{}
	if json.Unmarshal(b, &j) != nil || j.Version != 1 || j.Done < 0 || j.Done > len(j.Entries) {
		return empty, nil
	}
	return j, nil
}

func (j journal) write(dir string) error {
	b, err := json.Marshal(j)
	if err != nil {
		return err
	}
	if err := disk.WriteFile(disk.OS, filepath.Join(dir, journalName), append(b, '\n')); err != nil {
		if disk.Full(err) {
			return fmt.Errorf("the disk is full, so nothing was changed; make room and try again (%w)", err)
		}
		return fmt.Errorf("the shoot's journal can't be written, so nothing was changed: %w", err)
	}
	return nil
}

// with is the journal after a change: what had been undone is gone.
func (j journal) with(e entry) journal {
	list := append(j.Entries[:j.Done:j.Done], e)
	if len(list) > journalMax {
		list = list[len(list)-journalMax:]
	}
	return journal{Version: 1, Entries: list, Done: len(list)}
}

// difference lists the views that a change touched.
func difference(before, after *shoot.Doc) []step {
	var steps []step
	for i := range after.Views {
		v := &after.Views[i]
		was := before.View(v.ID)
		if was == nil {
			continue
		}
		if a, b := stateOf(was), stateOf(v); !alike(a, b) {
			steps = append(steps, step{v.ID, a, b})
		}
	}
	return steps
}

// alike compares states as they are written.
func alike(a, b state) bool {
	if reflect.DeepEqual(a, b) {
		return true
	}
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y)
}

var errElsewhere = errors.New("this was changed elsewhere since, so it can't be undone here")

// turn takes the steps of a change back, or makes them again, when the views are still
// as the change left them.
func turn(d *shoot.Doc, e entry, back bool) error {
	if e.Pack != nil {
		from, to := e.Pack[0], e.Pack[1]
		if back {
			from, to = to, from
		}
		if !packOf(d).same(from) {
			return errElsewhere
		}
		to.put(d)
	}
	for _, s := range e.Steps {
		from, to := s.Before, s.After
		if back {
			from, to = to, from
		}
		v := d.View(s.View)
		if v == nil || !alike(stateOf(v), from) {
			return errElsewhere
		}
		to.put(v)
	}
	return nil
}
