package card

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"sync"

	"golang.org/x/sync/errgroup"

	"mullion/card/disk"
)

// inFlight is how many frames are on their way at once: while one waits for the
// destination to flush, the card is read for the other. More would only make the
// reader's head, or the card's controller, jump about.
const inFlight = 2

// Progress is how far a copy has come.
type Progress struct {
	Files, AllFiles int
	Bytes, AllBytes int64
	Name            string // the frame that was finished last, by its path on the card
}

// Status says what became of one file.
type Status int

const (
	Failed  Status = iota // not on every destination
	Copied                // written and read back
	Present               // was there already with the same contents, read and compared
)

func (s Status) String() string { return [...]string{"failed", "copied", "present"}[s] }

// Outcome is what became of one file of the card.
type Outcome struct {
	Source string // path on the card
	Rel    string // path below each destination, with forward slashes
	Size   int64
	SHA256 string // lower-case hex; empty when it could not be read
	Status Status
	// SameAs is the Rel of an earlier file with the same contents.
	SameAs string
	// Renamed is true when another picture already had this file's name.
	Renamed bool
	Err     error // why it failed, for the person who copies
}

// Report is the account of one copy.
type Report struct {
	Files []Outcome // in the order of the card, companions after their frames
	// Lost lists destinations that stopped taking files (full, pulled out).
	Lost map[string]error
}

// Safe reports whether every file lies on every destination, read back and equal.
func (r *Report) Safe() bool {
	for _, f := range r.Files {
		if f.Status == Failed {
			return false
		}
	}
	return len(r.Lost) == 0 && len(r.Files) > 0
}

// Err returns nil when the copy is Safe and otherwise the errors, one a line.
func (r *Report) Err() error {
	var errs []error
	for _, f := range r.Files {
		if f.Err != nil {
			errs = append(errs, f.Err)
		}
	}
	for _, err := range r.Lost {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// Copy brings frames and their companions to each destination folder, keeping
// their paths below the card's top folder, and writes a manifest there.
//
// Each file is hashed (SHA-256) while it is read once for all destinations,
// written under a temporary name, flushed, read back from the medium and compared,
// and only then given its name, its original time and read-only permissions. A
// file that is there already is read and compared, not copied again. A name taken
// by other contents is left alone: the frame and its companions get the first free
// number, as in "LF1_0001-2.DNG".
//
// A file that can't be read or written is an Outcome with an error, and the rest
// goes on. A destination that is full or gone is given up and listed in Lost.
// The error is not nil when the copy had to stop: the card went away, no
// destination is left, or ctx ended. The report is valid then too, and a second
// call carries on where the first one stopped.
func Copy(ctx context.Context, files []File, dests []string, progress func(Progress)) (*Report, error) {
	return copyVia(ctx, disk.OS, files, dests, progress)
}

func copyVia(ctx context.Context, fsys disk.FS, files []File, dests []string, progress func(Progress)) (*Report, error) {
	if len(dests) == 0 {
		return nil, errors.New("no folder to copy to")
	}
	c := &copier{fs: fsys, progress: progress, taken: map[string]int{}, first: map[string]string{}}
	for _, dir := range dests {
		d, err := c.open(dir)
		if err != nil {
			c.close()
			return nil, err
		}
		c.dests = append(c.dests, d)
	}
	defer c.close()
	report := &Report{Lost: map[string]error{}}
	outcomes := make([][]Outcome, len(files))
	for _, f := range files {
		for _, m := range members(f) {
			c.now.AllFiles++
			c.now.AllBytes += m.Size
		}
	}
	c.checkRoom(files)
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(inFlight)
	for i, f := range files {
		if gctx.Err() != nil {
			break
		}
		g.Go(func() error {
			var err error
			outcomes[i], err = c.frame(gctx, i, f)
			return err
		})
	}
	err := g.Wait()
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	for i, o := range outcomes {
		report.Files = append(report.Files, o...)
		for _, m := range members(files[i])[len(o):] {
			report.Files = append(report.Files, Outcome{Source: m.Path, Rel: m.Rel, Size: m.Size, Err: stopped(m, err)})
		}
	}
	c.noteDuplicates(report)
	for _, d := range c.dests {
		if saveErr := d.save(true); saveErr != nil {
			c.lose(d, saveErr)
		}
		if d.lost != nil {
			report.Lost[d.dir] = d.lost
		}
	}
	return report, err
}

func stopped(f File, err error) error {
	if err == nil || errors.Is(err, context.Canceled) {
		return fileError(f.Path, "not copied, because the run was stopped", "run it again and it carries on", err)
	}
	return fileError(f.Path, "not copied, because the run had to stop", "see the first error, then run it again", err)
}

// members lists a frame's files: the frame itself, then its companions.
func members(f File) []File { return append([]File{f}, f.Companions...) }

type copier struct {
	fs       disk.FS
	dests    []*destination
	progress func(Progress)

	mu    sync.Mutex
	now   Progress
	taken map[string]int    // Rel -> index of the frame that has claimed it in this run
	first map[string]string // SHA-256 -> the first Rel with these contents
}

// destination is one folder that receives copies.
type destination struct {
	dir      string
	fs       disk.FS
	info     fs.FileInfo // the folder as it was found
	lock     io.Closer
	manifest *Manifest
	saver    saver
	lost     error
}

func (c *copier) open(dir string) (*destination, error) {
	if err := c.fs.MkdirAll(dir); err != nil {
		return nil, writeError(dir, err)
	}
	lock, err := c.fs.Lock(dir)
	if errors.Is(err, disk.ErrLocked) {
		return nil, fileError(dir, "another run is copying to this folder", "wait until it is done", err)
	}
	if err != nil {
		return nil, writeError(dir, err)
	}
	m, err := readManifest(c.fs, dir)
	if err != nil {
		lock.Close()
		return nil, err
	}
	info, err := c.fs.Stat(dir)
	if err != nil {
		lock.Close()
		return nil, writeError(dir, err)
	}
	return &destination{dir: dir, fs: c.fs, info: info, lock: lock, manifest: m}, nil
}

func (c *copier) close() {
	for _, d := range c.dests {
		d.lock.Close()
	}
}

// checkRoom gives up a destination at once that can't hold what is still to come,
// so that nobody finds out after half an hour.
func (c *copier) checkRoom(files []File) {
	for _, d := range c.dests {
		var need int64
		for _, f := range files {
			for _, m := range members(f) {
				if _, err := c.fs.Stat(filepath.Join(d.dir, filepath.FromSlash(m.Rel))); err != nil {
					need += m.Size
				}
			}
		}
		free, err := c.fs.Free(d.dir)
		if err == nil && need > free {
			d.lost = fileError(d.dir, fmt.Sprintf("the disk has %s free and the card needs %s", megabytes(free), megabytes(need)),
				"make room or choose another disk", nil)
		}
	}
}

func megabytes(n int64) string {
	if n >= 10e9 {
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// alive lists the destinations that still take files.
func (c *copier) alive() []*destination {
	c.mu.Lock()
	defer c.mu.Unlock()
	var list []*destination
	for _, d := range c.dests {
		if d.lost == nil {
			list = append(list, d)
		}
	}
	return list
}

func (c *copier) lose(d *destination, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if d.lost == nil {
		d.lost = err
	}
}

func (c *copier) done(o Outcome) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now.Files++
	c.now.Bytes += o.Size
	c.now.Name = o.Source
	if c.progress != nil {
		c.progress(c.now)
	}
}

// noteDuplicates marks files whose contents appeared under an earlier name. Both
// are kept: a photographer's names mean something.
func (c *copier) noteDuplicates(r *Report) {
	for i := range r.Files {
		o := &r.Files[i]
		if o.SHA256 == "" || o.Status == Failed {
			continue
		}
		if first, ok := c.first[o.SHA256]; ok {
			o.SameAs = first
			continue
		}
		c.first[o.SHA256] = o.Rel
	}
}
