package card

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"mullion/card/disk"
)

// block is how much is read at a time: large enough for a card reader's full
// speed, small enough that a cancelled copy stops at once.
const block = 1 << 20

// frame copies one frame with its companions. The error is not nil when nothing
// further can be copied.
func (c *copier) frame(ctx context.Context, index int, f File) ([]Outcome, error) {
	names, sums, err := c.choose(ctx, index, f)
	if err != nil {
		return nil, err
	}
	var out []Outcome
	for i, m := range members(f) {
		o := Outcome{Source: m.Path, Rel: names[i], Size: m.Size, SHA256: sums[i], Renamed: names[i] != m.Rel}
		stop := c.member(ctx, m, &o)
		if stop != nil {
			return out, stop
		}
		out = append(out, o)
		c.done(o)
	}
	return out, nil
}

// member brings one file to every destination. The error is not nil when nothing
// further can be copied.
func (c *copier) member(ctx context.Context, m File, o *Outcome) error {
	var todo []*destination
	for _, d := range c.alive() {
		if err := d.stillThere(); err != nil {
			c.lose(d, err)
		} else if _, err := c.fs.Stat(d.path(o.Rel)); errors.Is(err, fs.ErrNotExist) {
			todo = append(todo, d)
		}
	}
	if len(c.alive()) == 0 {
		return c.allLost()
	}
	o.Status = Present // choose has compared it with every destination just now
	var bad map[*destination]bool
	if len(todo) > 0 || o.SHA256 == "" {
		o.Status = Copied
		o.SHA256, bad, o.Err = c.transfer(ctx, m, o.Rel, todo)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if o.Err != nil {
		o.Status = Failed
	}
	if o.SHA256 != "" {
		c.record(m, o, bad)
	} else if c.cardGone(m, o.Err) {
		return fileError(m.Path, "the card can't be read any more", "put it in again and run this again; it carries on where it stopped", o.Err)
	}
	if len(c.alive()) == 0 {
		return c.allLost()
	}
	return nil
}

// record enters a file in the manifests of the destinations that have it.
func (c *copier) record(m File, o *Outcome, bad map[*destination]bool) {
	for _, d := range c.alive() {
		if bad[d] {
			continue
		}
		d.saver.Lock()
		d.manifest.Set(Entry{Rel: o.Rel, SHA256: o.SHA256, Size: m.Size, ModTime: m.ModTime})
		d.saver.Unlock()
		if err := d.save(false); err != nil {
			c.lose(d, err)
		}
	}
}

// stillThere guards against a disk that was unplugged: what is written to the
// folder left in its place would land on another disk.
func (d *destination) stillThere() error {
	now, err := d.fs.Stat(d.dir)
	if err != nil || !os.SameFile(now, d.info) {
		return fileError(d.dir, "the destination went away", "connect the disk and run this again; it carries on where it stopped", err)
	}
	return nil
}

func (d *destination) path(rel string) string { return filepath.Join(d.dir, filepath.FromSlash(rel)) }

func (c *copier) allLost() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.dests[0].lost
}

// cardGone tells a card that was pulled out from one file that can't be read.
func (c *copier) cardGone(m File, err error) bool {
	if disk.Gone(err) {
		return true
	}
	_, statErr := c.fs.Stat(filepath.Dir(m.Path))
	return statErr != nil
}

// transfer reads a file once, hashes it, and writes it to the destinations. Each
// destination that fails is left without a trace of the file and is listed in bad;
// the error is the first one, and sum is empty when the source was at fault. With
// no destination it only hashes.
func (c *copier) transfer(ctx context.Context, m File, rel string, todo []*destination) (sum string, bad map[*destination]bool, err error) {
	in, err := c.fs.Open(m.Path)
	if err != nil {
		return "", nil, readError(m.Path, err)
	}
	defer in.Close()
	writers := make([]*writer, len(todo))
	for i, d := range todo {
		writers[i] = &writer{d: d, name: d.path(rel)}
		writers[i].start()
	}
	sum, err = pump(ctx, in, m, writers)
	var wg sync.WaitGroup
	for _, w := range writers {
		wg.Go(func() {
			if err == nil && w.err == nil {
				w.finish(ctx, m, sum)
			}
			if err != nil || w.err != nil {
				w.abandon()
			}
		})
	}
	wg.Wait()
	if err != nil {
		return "", nil, err
	}
	bad = map[*destination]bool{}
	for _, w := range writers {
		if w.err == nil {
			continue
		}
		bad[w.d] = true
		if fatal(w.err) {
			c.lose(w.d, w.err)
		}
		if err == nil {
			err = w.err
		}
	}
	return sum, bad, err
}

// pump reads the source to its end. The next block is read while the last one is
// hashed and written.
func pump(ctx context.Context, in io.Reader, m File, writers []*writer) (string, error) {
	sum := sha256.New()
	buffers := [2][]byte{take(), take()}
	defer func() { give(buffers[0]); give(buffers[1]) }()
	var total int64
	n, err := io.ReadFull(in, buffers[0])
	for turn := 0; n > 0 && ctx.Err() == nil; turn ^= 1 {
		data := buffers[turn][:n]
		total += int64(n)
		var wg sync.WaitGroup
		wg.Go(func() { sum.Write(data) })
		for _, w := range writers {
			wg.Go(func() { w.write(data) })
		}
		n = 0
		if err == nil {
			n, err = io.ReadFull(in, buffers[turn^1])
		}
		wg.Wait()
	}
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case err != nil && err != io.EOF && err != io.ErrUnexpectedEOF:
		return "", readError(m.Path, err)
	case total != m.Size:
		return "", fileError(m.Path, fmt.Sprintf("%d bytes came of the %d the card lists", total, m.Size), "put the card in again and run this again", nil)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
