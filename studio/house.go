package studio

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"

	"mullion/card/disk"
	"mullion/finish"
	"mullion/shoot"
)

// house is the open shoot. The shoot's lock is held only while something is written,
// so that a run on the command line can work on it as well.
type house struct {
	dir      string
	previews *finish.Previews
	told     func(rev int) // after every change
	checking checking

	mu   sync.Mutex
	rev  int
	seen time.Time // when shoot.json was written, as far as pages know
}

// previewBytes is how much memory live pictures may hold.
const previewBytes = 768 << 20

func openHouse(dir string, told func(int)) (*house, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if _, err := shoot.Read(dir); err != nil {
		return nil, err
	}
	h := &house{dir: dir, previews: finish.NewPreviews(dir, previewBytes), told: told, rev: 1}
	h.seen = h.written()
	return h, nil
}

// written is when the shoot's document was written last.
func (h *house) written() time.Time {
	info, err := os.Stat(filepath.Join(h.dir, shoot.FileName))
	if err != nil {
		return h.seen
	}
	return info.ModTime()
}

// notice tells the pages when another program has changed the shoot, and reports whether
// one has.
func (h *house) notice() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := h.written()
	if at.Equal(h.seen) {
		return false
	}
	h.seen = at
	h.rev++
	h.told(h.rev)
	return true
}

func (h *house) doc() (*shoot.Doc, error) { return shoot.Read(h.dir) }

func (h *house) revision() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.rev
}

// errBusy is returned while a run has the shoot.
var errBusy = errors.New("the shoot is being worked on by a run; wait until it is done, or stop it")

// errStale is returned for a change that was made to an older state of the walk.
var errStale = errors.New("the shoot was changed in another window; this page has been brought up to date, please do it again")

// change changes the shoot through fn and writes it into the journal. The journal is
// written first: if the machine stops in between, its last entry describes a change
// that never was, which undo notices. at is the revision the change was made to; 0
// doesn't mind.
func (h *house) change(ctx context.Context, at int, what string, fn func(*shoot.Doc) error) error {
	return h.write(ctx, func(d *shoot.Doc, j journal) (journal, error) {
		if at != 0 && at != h.rev {
			return j, errStale
		}
		before := clone(d)
		if err := fn(d); err != nil {
			return j, err
		}
		e := entry{What: what, At: time.Now().UTC().Truncate(time.Second), Steps: difference(before, d)}
		if a, b := packOf(before), packOf(d); !a.same(b) {
			e.Pack = &[2]packState{a, b}
		}
		if len(e.Steps) == 0 && e.Pack == nil {
			return j, errNothing
		}
		return j.with(e), nil
	})
}

// errNothing ends a change that changes nothing; it is not shown.
var errNothing = errors.New("nothing to change")

// undo takes the last change back; redo makes the last one undone again.
func (h *house) undo(ctx context.Context) error { return h.turn(ctx, true) }
func (h *house) redo(ctx context.Context) error { return h.turn(ctx, false) }

func (h *house) turn(ctx context.Context, back bool) error {
	return h.write(ctx, func(d *shoot.Doc, j journal) (journal, error) {
		at, next := j.Done, j.Done+1
		if back {
			at, next = j.Done-1, j.Done-1
		}
		if at < 0 || at >= len(j.Entries) {
			return j, errNothing
		}
		if err := turn(d, j.Entries[at], back); err != nil {
			return j, err
		}
		j.Done = next
		return j, nil
	})
}

// write opens the shoot, lets fn change document and journal, and writes both.
func (h *house) write(ctx context.Context, fn func(*shoot.Doc, journal) (journal, error)) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	s, err := shoot.Open(ctx, h.dir)
	if errors.Is(err, disk.ErrLocked) {
		return errBusy
	}
	if err != nil {
		return err
	}
	defer s.Close()
	was, err := readJournal(h.dir)
	if err != nil {
		return err
	}
	d := s.Doc()
	j, err := fn(d, was)
	if errors.Is(err, errNothing) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := j.write(h.dir); err != nil {
		return err
	}
	if err := s.Update(ctx, func(to *shoot.Doc) error { *to = *d; return nil }); err != nil {
		return errors.Join(err, was.write(h.dir))
	}
	h.seen = h.written()
	h.rev++
	h.told(h.rev)
	return nil
}

// clone copies what difference compares.
func clone(d *shoot.Doc) *shoot.Doc {
	c := *d
	c.Pack = again(d.Pack)
	c.Views = append([]shoot.View(nil), d.Views...)
	for i := range c.Views {
		v := &c.Views[i]
		v.Edits = append([]shoot.Edit(nil), v.Edits...)
		v.Decisions = copyOf(v.Decisions)
	}
	return &c
}

func copyOf(d shoot.Decisions) shoot.Decisions {
	d.RoomEV, d.WindowEV, d.Level = again(d.RoomEV), again(d.WindowEV), again(d.Level)
	d.RoomWarmth, d.WindowWarmth = again(d.RoomWarmth), again(d.WindowWarmth)
	return d
}

func again[T any](p *T) *T {
	if p == nil {
		return nil
	}
	v := *p
	return &v
}
