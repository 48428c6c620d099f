package send

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// folder is a folder on this machine or on a disk mounted here.
type folder struct{ dir string }

func openFolder(dir string) (Store, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("the folder can't be made: %w", err)
	}
	return folder{dir}, nil
}

func (f folder) at(path string) string { return filepath.Join(f.dir, filepath.FromSlash(path)) }

func (f folder) Size(_ context.Context, path string) (int64, error) {
	info, err := os.Stat(f.at(path))
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

func (f folder) Open(_ context.Context, path string) (io.ReadCloser, error) {
	return os.Open(f.at(path))
}

func (f folder) Write(_ context.Context, path string, at int64, r io.Reader, _ int64) error {
	if err := os.MkdirAll(filepath.Dir(f.at(path)), 0o755); err != nil {
		return err
	}
	w, err := os.OpenFile(f.at(path), os.O_WRONLY|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	_, err = w.Seek(at, io.SeekStart)
	if err == nil {
		err = w.Truncate(at)
	}
	if err == nil {
		_, err = io.Copy(w, r)
	}
	return errors.Join(err, w.Sync(), w.Close())
}

func (f folder) CanAppend() bool { return true }

func (f folder) Rename(_ context.Context, from, to string) error {
	return os.Rename(f.at(from), f.at(to))
}

func (f folder) Remove(_ context.Context, path string) error { return os.Remove(f.at(path)) }

func (f folder) Close() error { return nil }
