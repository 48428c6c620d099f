// Package shoot keeps the folder of one visit to one property.
//
//	shoot.json         views, their order, rooms, decisions, what has been finished
//	originals/         the card's files, byte for byte, with their manifest
//	cache/             anything that can be made again
//	deliveries/NAME/   what was sent
//
// shoot.json is written for people too: indented, in plain words. It is replaced
// in one step, so a run that is killed at any instant leaves it whole, and what a
// later version or another program added to it is kept when it is written again.
package shoot

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"mullion/card/disk"
	"mullion/metadata"
)

// FileName is the name of the shoot's document in its folder.
const FileName = "shoot.json"

// Shoot is a shoot folder that this process holds the lock of.
type Shoot struct {
	dir  string
	fs   disk.FS
	lock io.Closer

	mu  sync.Mutex
	doc *Doc
}

// Create makes a shoot folder, or takes over an existing folder without a
// shoot.json, and locks it. It fails when the folder is a shoot already.
func Create(ctx context.Context, dir string) (*Shoot, error) { return create(ctx, disk.OS, dir) }

func create(ctx context.Context, fsys disk.FS, dir string) (*Shoot, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := fsys.MkdirAll(dir); err != nil {
		return nil, problem(dir, fmt.Sprintf("the shoot folder can't be made (%v)", err), "choose a folder you may write to", err)
	}
	s, err := lock(fsys, dir)
	if err != nil {
		return nil, err
	}
	if _, err := fsys.Stat(s.file()); err == nil {
		s.Close()
		return nil, problem(dir, "this is a shoot folder already", "open it, or choose another name", fs.ErrExist)
	}
	s.doc = &Doc{Version: Version, Created: time.Now().UTC().Truncate(time.Second)}
	if err := s.write(s.doc); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// Open locks and reads a shoot folder. It fails with fs.ErrNotExist when the
// folder is no shoot, and with disk.ErrLocked when another run has it.
func Open(ctx context.Context, dir string) (*Shoot, error) { return open(ctx, disk.OS, dir) }

func open(ctx context.Context, fsys disk.FS, dir string) (*Shoot, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if _, err := fsys.Stat(filepath.Join(dir, FileName)); errors.Is(err, fs.ErrNotExist) {
		return nil, noShoot(dir, err)
	}
	s, err := lock(fsys, dir)
	if err != nil {
		return nil, err
	}
	if s.doc, err = read(fsys, dir); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// OpenOrCreate opens a shoot folder and makes it when there is none.
func OpenOrCreate(ctx context.Context, dir string) (*Shoot, error) {
	s, err := Open(ctx, dir)
	if errors.Is(err, fs.ErrNotExist) {
		return Create(ctx, dir)
	}
	return s, err
}

// Read returns a shoot's document without taking the lock, for those who only look.
func Read(dir string) (*Doc, error) { return read(disk.OS, dir) }

func lock(fsys disk.FS, dir string) (*Shoot, error) {
	l, err := fsys.Lock(dir)
	if errors.Is(err, disk.ErrLocked) {
		return nil, problem(dir, "another run is working on this shoot", "wait until it is done, or stop it", err)
	}
	if err != nil {
		return nil, problem(dir, fmt.Sprintf("the shoot folder can't be opened (%v)", err), "check the disk and the folder's permissions", err)
	}
	return &Shoot{dir: dir, fs: fsys, lock: l}, nil
}

func noShoot(dir string, err error) error {
	return problem(dir, "this is no shoot folder (it has no "+FileName+")", "name the folder that finish wrote to", err)
}

func problem(path, what, advice string, err error) error {
	return &metadata.FileError{Path: path, Problem: what, Advice: advice, Err: err}
}

func read(fsys disk.FS, dir string) (*Doc, error) {
	name := filepath.Join(dir, FileName)
	f, err := fsys.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noShoot(dir, err)
	}
	if err != nil {
		return nil, problem(name, fmt.Sprintf("it can't be read (%v)", err), "check the disk", err)
	}
	data, err := io.ReadAll(f)
	if err := errors.Join(err, f.Close()); err != nil {
		return nil, problem(name, fmt.Sprintf("it can't be read (%v)", err), "check the disk", err)
	}
	return parse(name, data)
}

func parse(name string, data []byte) (*Doc, error) {
	var head struct {
		Version int `json:"version"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, problem(name, fmt.Sprintf("it is damaged (%v)", err), "mend it in a text editor, or move it away and run finish on the originals folder again", err)
	}
	if head.Version > Version {
		return nil, problem(name, fmt.Sprintf("it was written by a newer Mullion (format %d; this one knows %d)", head.Version, Version), "update Mullion", nil)
	}
	d := &Doc{}
	if err := json.Unmarshal(data, d); err != nil {
		return nil, problem(name, fmt.Sprintf("it is damaged (%v)", err), "mend it in a text editor, or move it away and run finish on the originals folder again", err)
	}
	d.upgrade()
	return d, nil
}

// Close releases the lock.
func (s *Shoot) Close() error { return s.lock.Close() }

// Doc returns a copy of the document as it is on disk.
func (s *Shoot) Doc() *Doc {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.doc.clone()
}

// Update changes the document through fn and writes it. When fn or the write
// fails, the document stays what it was, here and on disk.
func (s *Shoot) Update(ctx context.Context, fn func(*Doc) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	d := s.doc.clone()
	if err := fn(d); err != nil {
		return err
	}
	if err := s.write(d); err != nil {
		return err
	}
	s.doc = d
	return nil
}

func (s *Shoot) write(d *Doc) error {
	d.Version = Version
	data, err := d.bytes()
	if err != nil {
		return err
	}
	if err := disk.WriteFile(s.fs, s.file(), data); err != nil {
		advice := "check the disk, then run this again"
		if disk.Full(err) {
			advice = "the disk is full: make room, then run this again"
		}
		return problem(s.file(), fmt.Sprintf("it can't be written (%v)", err), advice, err)
	}
	return nil
}

func (s *Shoot) file() string { return filepath.Join(s.dir, FileName) }

// Dir is the shoot folder.
func (s *Shoot) Dir() string { return s.dir }

// Originals is the folder of the card's files.
func (s *Shoot) Originals() string { return filepath.Join(s.dir, "originals") }

// Cache is the folder of what can be made again; it may be deleted at any time.
func (s *Shoot) Cache() string { return filepath.Join(s.dir, "cache") }

// Delivery is the folder of one delivery. The name must be a plain file name.
func (s *Shoot) Delivery(name string) (string, error) {
	if name == "" || name == "." || name == ".." || strings.ContainsAny(name, `/\`+"\x00") {
		return "", fmt.Errorf("%q can't be the name of a delivery: use letters, digits and hyphens", name)
	}
	return filepath.Join(s.dir, "deliveries", name), nil
}

// Path is where a path of the document lies: below the shoot, or itself when it is
// absolute (a frame that was left in its place).
func (s *Shoot) Path(p string) string {
	if filepath.IsAbs(p) {
		return p
	}
	return filepath.Join(s.dir, filepath.FromSlash(p))
}
