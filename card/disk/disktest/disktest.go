// Package disktest breaks a file system on purpose, for tests of promises about
// data.
package disktest

import (
	"errors"
	"io"
	"io/fs"
	"sync/atomic"
	"time"

	"mullion/card/disk"
)

// ErrKilled stands for the end of the process: after it, nothing works.
var ErrKilled = errors.New("killed")

// Hook is asked before every operation and may refuse it. op is one of open,
// create, read, write, sync, settle, forget, close, stat, readdir, mkdir, rename,
// remove, syncdir, lock; data is what is being written or was just read, and may
// be changed in place.
type Hook func(op, name string, data []byte) error

// Hooked returns a file system that asks the hook first.
func Hooked(under disk.FS, hook Hook) disk.FS { return &faulty{under, hook} }

// KillAfter returns a file system that stops working for good after n operations
// that change something.
func KillAfter(under disk.FS, n int) disk.FS {
	var count atomic.Int64
	return Hooked(under, func(op, _ string, _ []byte) error {
		switch op {
		case "create", "write", "sync", "settle", "mkdir", "rename", "remove", "syncdir":
			if count.Add(1) > int64(n) {
				return ErrKilled
			}
		default:
			if count.Load() > int64(n) && op != "close" {
				return ErrKilled
			}
		}
		return nil
	})
}

type faulty struct {
	disk.FS
	hook Hook
}

func (s *faulty) Open(name string) (disk.File, error) {
	if err := s.hook("open", name, nil); err != nil {
		return nil, err
	}
	f, err := s.FS.Open(name)
	return s.wrap(f, name, err)
}

func (s *faulty) Create(name string) (disk.File, error) {
	if err := s.hook("create", name, nil); err != nil {
		return nil, err
	}
	f, err := s.FS.Create(name)
	return s.wrap(f, name, err)
}

func (s *faulty) wrap(f disk.File, name string, err error) (disk.File, error) {
	if err != nil {
		return nil, err
	}
	return &faultyFile{f, name, s.hook}, nil
}

func (s *faulty) Stat(name string) (fs.FileInfo, error) {
	if err := s.hook("stat", name, nil); err != nil {
		return nil, err
	}
	return s.FS.Stat(name)
}

func (s *faulty) ReadDir(name string) ([]fs.DirEntry, error) {
	if err := s.hook("readdir", name, nil); err != nil {
		return nil, err
	}
	return s.FS.ReadDir(name)
}

func (s *faulty) MkdirAll(name string) error {
	if err := s.hook("mkdir", name, nil); err != nil {
		return err
	}
	return s.FS.MkdirAll(name)
}

func (s *faulty) Rename(from, to string) error {
	if err := s.hook("rename", to, nil); err != nil {
		return err
	}
	return s.FS.Rename(from, to)
}

func (s *faulty) RenameNew(from, to string) error {
	if err := s.hook("rename", to, nil); err != nil {
		return err
	}
	return s.FS.RenameNew(from, to)
}

func (s *faulty) Remove(name string) error {
	if err := s.hook("remove", name, nil); err != nil {
		return err
	}
	return s.FS.Remove(name)
}

func (s *faulty) SyncDir(name string) error {
	if err := s.hook("syncdir", name, nil); err != nil {
		return err
	}
	return s.FS.SyncDir(name)
}

func (s *faulty) Lock(name string) (io.Closer, error) {
	if err := s.hook("lock", name, nil); err != nil {
		return nil, err
	}
	return s.FS.Lock(name)
}

type faultyFile struct {
	disk.File
	name string
	hook Hook
}

func (f *faultyFile) Read(p []byte) (int, error) {
	n, err := f.File.Read(p)
	if hookErr := f.hook("read", f.name, p[:n]); hookErr != nil {
		return 0, hookErr
	}
	return n, err
}

// Write lets half the data through before a refusal, as a full disk does.
func (f *faultyFile) Write(p []byte) (int, error) {
	q := append([]byte(nil), p...)
	if err := f.hook("write", f.name, q); err != nil {
		n, _ := f.File.Write(p[:len(p)/2])
		return n, err
	}
	return f.File.Write(q)
}

func (f *faultyFile) Sync() error {
	if err := f.hook("sync", f.name, nil); err != nil {
		return err
	}
	return f.File.Sync()
}

func (f *faultyFile) Settle(t time.Time, mode fs.FileMode) error {
	if err := f.hook("settle", f.name, nil); err != nil {
		return err
	}
	return f.File.Settle(t, mode)
}

func (f *faultyFile) Close() error {
	return errors.Join(f.hook("close", f.name, nil), f.File.Close())
}
