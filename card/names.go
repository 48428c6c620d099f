package card

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"path/filepath"
	"strings"
)

// choose finds the names a frame's files get: their own, or with the first number
// at which no file of other contents is in the way on any destination. The hashes
// are those it had to take on the way.
func (c *copier) choose(ctx context.Context, index int, f File) (names, sums []string, err error) {
	all := members(f)
	sums = make([]string, len(all))
	for n := 1; ; n++ {
		names = make([]string, len(all))
		free := true
		for i, m := range all {
			names[i] = numbered(m.Rel, n)
			clash, err := c.clash(ctx, m, names[i], &sums[i])
			if err != nil {
				return nil, nil, err
			}
			free = free && !clash
		}
		if free && c.claim(names, index) {
			return names, sums, nil
		}
	}
}

// numbered is "a/LF1_0001.DNG" for 1, "a/LF1_0001-2.DNG" for 2 and so on.
func numbered(rel string, n int) string {
	if n == 1 {
		return rel
	}
	e := path.Ext(rel)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(rel, e), n, e)
}

func (c *copier) claim(names []string, index int) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, n := range names {
		if other, ok := c.taken[n]; ok && other != index {
			return false
		}
	}
	for _, n := range names {
		c.taken[n] = index
	}
	return true
}

// clash reports whether a destination has other contents under a name. Size
// decides first; only files of equal size are read, the card's at most once. A
// copy that has been damaged since (the manifest knows its true hash) is a clash
// too: it is reported by Verify and never written over.
func (c *copier) clash(ctx context.Context, m File, name string, sum *string) (bool, error) {
	for _, d := range c.alive() {
		there := filepath.Join(d.dir, filepath.FromSlash(name))
		info, err := c.fs.Stat(there)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			c.lose(d, writeError(there, err))
			continue
		}
		if info.Size() != m.Size || info.IsDir() {
			return true, nil
		}
		if *sum == "" {
			if *sum, err = sumOf(ctx, c.fs, m.Path, false); err != nil {
				return false, ctx.Err() // the copy itself will say why it can't be read
			}
		}
		have, err := sumOf(ctx, c.fs, there, true)
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		if err != nil || have != *sum {
			return true, nil
		}
	}
	return false, nil
}
