package card

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"mullion/card/disk"
)

// writer writes one file to one destination under a temporary name.
type writer struct {
	d    *destination
	name string // the name it gets when all is well
	f    disk.File
	err  error
}

func (w *writer) start() {
	if err := w.d.fs.MkdirAll(filepath.Dir(w.name)); err != nil {
		w.err = writeError(filepath.Dir(w.name), err)
		return
	}
	w.d.fs.Remove(disk.Part(w.name)) // a killed run may have left it read-only
	f, err := w.d.fs.Create(disk.Part(w.name))
	if err != nil {
		w.err = writeError(w.name, err)
		return
	}
	w.f = f
}

func (w *writer) write(data []byte) {
	if w.err != nil {
		return
	}
	if _, err := w.f.Write(data); err != nil {
		w.err = writeError(w.name, err)
	}
}

// finish flushes the file, reads it back, and gives it its name.
func (w *writer) finish(ctx context.Context, m File, sum string) {
	part := disk.Part(w.name)
	err := w.f.Settle(m.ModTime, 0o444)
	if err == nil {
		err = w.f.Sync()
	}
	if err == nil {
		w.f.Forget()
	}
	err = errors.Join(err, w.f.Close())
	w.f = nil
	if err != nil {
		w.err = writeError(w.name, err)
		return
	}
	have, err := sumOf(ctx, w.d.fs, part, true)
	if err != nil {
		w.err = writeError(w.name, err)
		return
	}
	if have != sum {
		w.err = fileError(w.name, "what was written reads back differently", "check the disk, its cable and the computer's memory, then run this again", nil)
		return
	}
	if err := w.d.fs.RenameNew(part, w.name); err != nil {
		w.err = writeError(w.name, err)
		return
	}
	if err := w.d.fs.SyncDir(filepath.Dir(w.name)); err != nil {
		w.err = writeError(w.name, err)
	}
}

// abandon takes away what was written.
func (w *writer) abandon() {
	if w.f != nil {
		w.f.Close()
		w.f = nil
	}
	w.d.fs.Remove(disk.Part(w.name))
}

// fatal reports whether a destination has no use for further files.
func fatal(err error) bool {
	return disk.Full(err) || disk.Gone(err) || disk.ReadOnly(err)
}

func writeError(name string, err error) error {
	switch {
	case disk.Full(err):
		return fileError(name, "the disk is full", "make room or choose another disk, then run this again; it carries on where it stopped", err)
	case disk.ReadOnly(err):
		return fileError(name, "nothing may be written here", "choose a folder you may write to", err)
	case disk.Gone(err) || errors.Is(err, fs.ErrNotExist):
		return fileError(name, "the destination went away", "connect the disk and run this again; it carries on where it stopped", err)
	}
	return fileError(name, fmt.Sprintf("it can't be written (%v)", cause(err)), "check the disk, then run this again", err)
}

func readError(name string, err error) error {
	return fileError(name, fmt.Sprintf("it can't be read (%v)", cause(err)), "put the card in again or try another reader; if it stays, the file is damaged", err)
}
