package deliver

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"mullion/card/disk"
)

// ArchiveName is the file that holds a whole delivery, for one download.
const ArchiveName = "photographs.zip"

// Archive writes everything that lies in the delivery's folder dir, but hidden files
// and an archive itself, as a ZIP (pictures don't shrink: nothing is compressed). The
// same folder and time give the same bytes, which is how [SameArchive] proves one.
func Archive(ctx context.Context, w io.Writer, dir string, when time.Time) error {
	z := zip.NewWriter(w)
	err := walkDelivery(dir, func(rel, path string) error {
		if rel == ArchiveName {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		h := &zip.FileHeader{Name: rel, Method: zip.Store, Modified: when.UTC()}
		h.SetMode(0o644)
		to, err := z.CreateHeader(h)
		if err != nil {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		_, err = io.Copy(to, f)
		return errors.Join(err, f.Close())
	})
	return errors.Join(err, z.Close())
}

// WriteArchive puts the archive into the folder, unless the one there is the same.
func WriteArchive(ctx context.Context, dir string, when time.Time) error {
	path := filepath.Join(dir, ArchiveName)
	if same, err := SameArchive(ctx, dir, when); err == nil && same {
		return nil
	}
	f, err := os.Create(disk.Part(path))
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // fails quietly once renamed
	err = Archive(ctx, f, dir, when)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return os.Rename(f.Name(), path)
}

// SameArchive reports whether the folder's archive is, byte for byte, what [Archive]
// makes of the folder now.
func SameArchive(ctx context.Context, dir string, when time.Time) (bool, error) {
	f, err := os.Open(filepath.Join(dir, ArchiveName))
	if err != nil {
		return false, err
	}
	defer f.Close()
	c := &comparer{r: f}
	if err := Archive(ctx, c, dir, when); errors.Is(err, errDiffers) {
		return false, nil
	} else if err != nil {
		return false, err
	}
	n, err := f.Read(make([]byte, 1))
	return n == 0 && err == io.EOF, nil
}

var errDiffers = errors.New("differs")

// comparer is a writer that compares what is written with what it reads.
type comparer struct {
	r   io.Reader
	buf []byte
}

func (c *comparer) Write(p []byte) (int, error) {
	if len(c.buf) < len(p) {
		c.buf = make([]byte, len(p))
	}
	b := c.buf[:len(p)]
	if _, err := io.ReadFull(c.r, b); err != nil || !bytes.Equal(b, p) {
		return 0, errDiffers
	}
	return len(p), nil
}

// walkDelivery calls fn for every file of a delivery in the order of their names, with
// its slashed path below dir. Hidden files, such as those a file manager leaves, don't
// belong to it.
func walkDelivery(dir string, fn func(rel, path string) error) error {
	return filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if path != dir && strings.HasPrefix(e.Name(), ".") {
			if e.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		if !e.Type().IsRegular() {
			return nil
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		return fn(filepath.ToSlash(rel), path)
	})
}
