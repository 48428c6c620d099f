// Package jobfile reads what was agreed for one property before the camera came out:
// which rooms, how many views of each, how many pictures are owed. It is a small text
// file (TOML) that a photographer writes, or that a booking program writes for him:
//
//	property = "Mill Lane 4"
//	package  = 25                # finished pictures owed; left out, the rooms' sum
//	notes    = "owner home until noon, cat"
//
//	[[room]]
//	name  = "front"
//	views = 2
//	front = true                 # the front exterior, which the first picture must show
//
//	[[room]]
//	name     = "kitchen"
//	views    = 3
//	vertical = 1                 # of which on end
//
// Rooms stand in the order in which they will be shot.
package jobfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/BurntSushi/toml"
)

// Job is one property to be photographed.
type Job struct {
	Path     string `toml:"-"`        // where it was read
	Property string `toml:"property"` // reference of the property
	Package  int    `toml:"package"`  // finished pictures owed; 0 means the sum of the rooms
	Notes    string `toml:"notes"`
	Rooms    []Room `toml:"room"`
}

// Room is one room, or one side of the house, and what is wanted of it.
type Room struct {
	Name     string `toml:"name"`
	Views    int    `toml:"views"`    // 0 counts as 1
	Vertical int    `toml:"vertical"` // how many of them on end
	Front    bool   `toml:"front"`    // the front exterior
	Outside  bool   `toml:"outside"`  // taken outdoors; front is always
}

// most bounds the numbers of a job: more views than any visit has.
const most = 500

// Load reads a job file. Errors name the file, what is wrong in it and what to do.
func Load(ctx context.Context, path string) (*Job, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the job file can't be read: %w", err)
	}
	j, err := Parse(b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	j.Path = path
	return j, nil
}

// Parse reads a job file's text.
func Parse(text []byte) (*Job, error) {
	j := &Job{}
	meta, err := toml.NewDecoder(bytes.NewReader(text)).Decode(j)
	if err != nil {
		return nil, wrong(err)
	}
	if u := meta.Undecoded(); len(u) > 0 {
		return nil, fmt.Errorf("nothing is known about %q; a job has property, package, notes and [[room]] with name, views, vertical, front, outside", u[0].String())
	}
	for i := range j.Rooms {
		r := &j.Rooms[i]
		r.Name = strings.TrimSpace(r.Name)
		if r.Views == 0 && !meta.IsDefined("room", "views") {
			r.Views = 1
		}
		r.Views = max(r.Views, 1)
		r.Outside = r.Outside || r.Front
		if err := r.check(i); err != nil {
			return nil, err
		}
	}
	if len(j.Rooms) == 0 && j.Package == 0 {
		return nil, errors.New("the job names no rooms and no package, so there is nothing to compare with; add [[room]] entries")
	}
	if j.Package < 0 || j.Package > most {
		return nil, fmt.Errorf("a package of %d pictures is not possible; write how many are owed", j.Package)
	}
	return j, nil
}

func (r *Room) check(i int) error {
	switch {
	case r.Name == "":
		return fmt.Errorf("room %d has no name; add name = \"...\"", i+1)
	case r.Views > most:
		return fmt.Errorf("room %q wants %d views; write how many there will be", r.Name, r.Views)
	case r.Vertical < 0 || r.Vertical > r.Views:
		return fmt.Errorf("room %q wants %d of %d views on end; vertical can't be more than views", r.Name, r.Vertical, r.Views)
	}
	return nil
}

// wrong makes a parser's error one line with its place.
func wrong(err error) error {
	var p toml.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("line %d: %s; see \"mullion check --help\" for an example", p.Position.Line, p.Message)
	}
	return err
}

// Wanted is the number of views that all rooms ask for.
func (j *Job) Wanted() int {
	n := 0
	for _, r := range j.Rooms {
		n += r.Views
	}
	return n
}

// Owed is the number of finished pictures that were sold.
func (j *Job) Owed() int {
	if j.Package > 0 {
		return j.Package
	}
	return j.Wanted()
}
