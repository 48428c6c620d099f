package send

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// Result says what a sending did.
type Result struct {
	Files   int   // there and proved, all of them
	Sent    int   // of these, sent by this run
	Bytes   int64 // of all
	Removed int   // of an earlier delivery, no longer part of it
}

// Delivery sends every file of the folder dir, hidden ones left out. last are files
// that go at the end, in that order, after all others are proved; list, one of them or
// none, is what [Listed] reads the files of an earlier delivery from. report, which
// may be nil, hears of every file.
//
// Nothing else at the place is touched, but for files that an earlier delivery there
// listed and this one no longer has.
func Delivery(ctx context.Context, dir string, to Store, last []string, listed func([]byte) []string, report func(done, total int, name string)) (Result, error) {
	files, err := filesOf(dir, last)
	if err != nil {
		return Result{}, err
	}
	if len(files) == 0 {
		return Result{}, fmt.Errorf("%s: there is nothing to send", dir)
	}
	var before []string
	if listed != nil && len(last) > 0 {
		if data, err := readAll(ctx, to, last[0]); err == nil {
			before = listed(data)
		}
	}
	var r Result
	for i, name := range files {
		size, sent, err := one(ctx, filepath.Join(dir, filepath.FromSlash(name)), name, to)
		if err != nil {
			return r, fmt.Errorf("%s: %w; %d of %d files are there and proved, say the same again to carry on", name, err, r.Files, len(files))
		}
		r.Files++
		r.Bytes += size
		if sent {
			r.Sent++
		}
		if report != nil {
			report(i+1, len(files), name)
		}
	}
	for _, name := range before {
		if slices.Contains(files, name) || !filepath.IsLocal(filepath.FromSlash(name)) {
			continue
		}
		switch err := to.Remove(ctx, name); {
		case err == nil:
			r.Removed++
		case !missing(err):
			return r, fmt.Errorf("%s, of an earlier delivery, can't be removed: %w", name, err)
		}
	}
	return r, nil
}

// filesOf lists the files of a folder, those in last at the end.
func filesOf(dir string, last []string) ([]string, error) {
	var files, end []string
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if p != dir && strings.HasPrefix(e.Name(), ".") {
			if e.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		if !e.Type().IsRegular() {
			return nil
		}
		rel, err := filepath.Rel(dir, p)
		if rel = filepath.ToSlash(rel); !slices.Contains(last, rel) {
			files = append(files, rel)
		}
		return err
	})
	for _, l := range last {
		if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(l))); err == nil {
			end = append(end, l)
		}
	}
	return append(files, end...), err
}

// one brings one file over, unless it is there already, and proves it.
func one(ctx context.Context, file, name string, to Store) (size int64, sent bool, err error) {
	f, err := os.Open(file)
	if err != nil {
		return 0, false, err
	}
	defer f.Close()
	sum := sha256.New()
	if size, err = io.Copy(sum, f); err != nil {
		return 0, false, err
	}
	want := hex.EncodeToString(sum.Sum(nil))
	if ok, err := proved(ctx, to, name, size, want); ok || err != nil {
		return size, false, err
	}
	part := path.Join(path.Dir(name), ".part-"+path.Base(name))
	for try := 0; ; try++ {
		at := int64(0)
		if to.CanAppend() && try == 0 {
			at = sharedStart(ctx, f, to, part, size)
		}
		if _, err := f.Seek(at, io.SeekStart); err != nil {
			return size, false, err
		}
		if at < size || at == 0 {
			if err := to.Write(ctx, part, at, &stopping{ctx, f}, size-at); err != nil {
				return size, false, err
			}
		}
		ok, err := proved(ctx, to, part, size, want)
		if err != nil {
			return size, false, err
		}
		if ok {
			break
		}
		if try > 0 {
			return size, false, errors.New("what arrived is not what was sent, twice; the line or the disk there is not sound")
		}
	}
	if err := to.Rename(ctx, part, name); err != nil {
		return size, false, err
	}
	// Some servers rename into nothing: only what lies under the name counts.
	ok, err := proved(ctx, to, name, size, want)
	if err == nil && !ok {
		err = errors.New("it arrived but is not there under its name")
	}
	return size, true, err
}

// proved reads a file at the place and compares its size and hash.
func proved(ctx context.Context, to Store, name string, size int64, want string) (bool, error) {
	n, err := to.Size(ctx, name)
	if missing(err) || err == nil && n != size {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	r, err := to.Open(ctx, name)
	if err != nil {
		return false, err
	}
	sum := sha256.New()
	_, err = io.Copy(sum, &stopping{ctx, r})
	if err = errors.Join(err, r.Close()); err != nil {
		return false, err
	}
	return hex.EncodeToString(sum.Sum(nil)) == want, nil
}

// sharedStart is how much of the file the part over there already holds: all of it or
// nothing, since a part that differs anywhere is of no use.
func sharedStart(ctx context.Context, f *os.File, to Store, part string, size int64) int64 {
	n, err := to.Size(ctx, part)
	if err != nil || n <= 0 || n > size {
		return 0
	}
	r, err := to.Open(ctx, part)
	if err != nil {
		return 0
	}
	defer r.Close()
	there, err := hashOf(&stopping{ctx, r}, n)
	if err != nil {
		return 0
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return 0
	}
	here, err := hashOf(f, n)
	if err != nil || here != there {
		return 0
	}
	return n
}

func hashOf(r io.Reader, n int64) (string, error) {
	var sum hash.Hash = sha256.New()
	if _, err := io.CopyN(sum, r, n); err != nil {
		return "", err
	}
	return string(sum.Sum(nil)), nil
}

func readAll(ctx context.Context, to Store, name string) ([]byte, error) {
	r, err := to.Open(ctx, name)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(&stopping{ctx, r}, 64<<20))
	return data, errors.Join(err, r.Close())
}

// stopping is a reader that ends with its context.
type stopping struct {
	ctx context.Context
	r   io.Reader
}

func (s *stopping) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(p)
}
