// Package disk holds the few file operations a promise about data rests on:
// write to a temporary name, flush it to the medium, rename it, flush the folder.
//
// They stand behind a small interface so that tests can break each step: a full
// disk, a card pulled out, a kill between two calls.
package disk

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// ErrLocked is returned by Lock when another process holds the lock.
var ErrLocked = errors.New("another run is using this folder")

// FS is the part of a file system that copying and saving need.
type FS interface {
	// Open opens a file or folder for reading only.
	Open(name string) (File, error)
	// Create makes or empties a file and opens it for writing.
	Create(name string) (File, error)
	Stat(name string) (fs.FileInfo, error)
	ReadDir(name string) ([]fs.DirEntry, error)
	// MkdirAll makes a folder and its parents, each flushed into its own parent.
	MkdirAll(name string) error
	// Rename gives a file a new name, replacing what has that name.
	Rename(from, to string) error
	// RenameNew gives a file a new name and fails with fs.ErrExist when it is taken.
	RenameNew(from, to string) error
	Remove(name string) error
	// SyncDir flushes a folder's entries to the medium.
	SyncDir(name string) error
	// Lock takes an exclusive lock on a file or folder, released by Close or by
	// the end of the process, however it ends. It fails with ErrLocked at once.
	Lock(name string) (io.Closer, error)
	// Free is the number of bytes a user may still write in a folder.
	Free(name string) (int64, error)
}

// File is an open file.
type File interface {
	io.ReadWriteCloser
	Stat() (fs.FileInfo, error)
	// Sync flushes contents and attributes to the medium.
	Sync() error
	// Settle sets the modification time and the permissions.
	Settle(mtime time.Time, mode fs.FileMode) error
	// Forget asks the system to drop its cached pages, so that the next read
	// comes from the medium. It is a request, not a promise.
	Forget() error
}

// OS is the machine's own file system.
var OS FS = system{}

type system struct{}

func (system) Open(name string) (File, error) { return wrap(os.Open(name)) }

func (system) Create(name string) (File, error) {
	return wrap(os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o644))
}

func wrap(f *os.File, err error) (File, error) {
	if err != nil {
		return nil, err
	}
	return file{f}, nil
}

func (system) Stat(name string) (fs.FileInfo, error)      { return os.Stat(name) }
func (system) ReadDir(name string) ([]fs.DirEntry, error) { return os.ReadDir(name) }
func (system) Rename(from, to string) error               { return os.Rename(from, to) }
func (system) RenameNew(from, to string) error            { return renameNew(from, to) }
func (system) Remove(name string) error                   { return os.Remove(name) }
func (system) Free(name string) (int64, error)            { return free(name) }

func (s system) MkdirAll(name string) error {
	if info, err := os.Stat(name); err == nil {
		if !info.IsDir() {
			return &fs.PathError{Op: "mkdir", Path: name, Err: errors.New("a file has this name")}
		}
		return nil
	}
	parent := filepath.Dir(name)
	if parent != name {
		if err := s.MkdirAll(parent); err != nil {
			return err
		}
	}
	if err := os.Mkdir(name, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return s.SyncDir(parent)
}

func (system) SyncDir(name string) error {
	d, err := os.Open(name)
	if err != nil {
		return err
	}
	err = d.Sync()
	if unsupported(err) {
		err = nil // some network and FUSE file systems cannot flush a folder
	}
	return errors.Join(err, d.Close())
}

func (system) Lock(name string) (io.Closer, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	if err := lock(f); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

type file struct{ *os.File }

func (f file) Settle(mtime time.Time, mode fs.FileMode) error {
	if err := setTime(f.File, mtime); err != nil {
		return err
	}
	return f.Chmod(mode)
}

func (f file) Forget() error { return forget(f.File) }

// PartSuffix ends the names of files that are still being written.
const PartSuffix = ".part"

// Part is the temporary name beside a file under which it is written.
func Part(name string) string {
	return filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+PartSuffix)
}

// Sweep removes what writers that were killed left under temporary names in the folder
// dir and below. It is for those who hold the lock of everything in it; a folder that
// isn't there has nothing to remove.
func Sweep(dir string) error {
	return filepath.WalkDir(dir, func(name string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if base := e.Name(); e.Type().IsRegular() && base[0] == '.' && filepath.Ext(base) == PartSuffix && base != PartSuffix {
			return os.Remove(name)
		}
		return nil
	})
}

// WriteFile replaces a file in one step: after a crash at any instant the name
// holds either the old contents or the new, whole.
func WriteFile(fsys FS, name string, data []byte) error {
	part, err := WritePart(fsys, name, data)
	if err != nil {
		return err
	}
	if err := fsys.Rename(part, name); err != nil {
		fsys.Remove(part)
		return err
	}
	return fsys.SyncDir(filepath.Dir(name))
}

// WritePart writes a file under its temporary name and flushes it, for those who put it
// in place later. It returns that name; when it fails it leaves nothing.
func WritePart(fsys FS, name string, data []byte) (part string, err error) {
	part = Part(name)
	f, err := fsys.Create(part)
	if err != nil {
		return "", err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		fsys.Remove(part)
		return "", err
	}
	return part, nil
}
