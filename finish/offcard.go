package finish

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
)

// offCard fails when a folder to be written to is the card or lies on it, by whatever
// name or link. An empty place is none.
func offCard(place, card string) error {
	if place == "" {
		return nil
	}
	at, err := resolved(place)
	if err != nil {
		return err
	}
	root, err := resolved(card)
	if err != nil {
		return err
	}
	rel, err := filepath.Rel(root, at)
	if err == nil && (rel == "." || filepath.IsLocal(rel)) {
		return fmt.Errorf("%s: this lies on the card (%s), which is only read; name a folder elsewhere", place, card)
	}
	return nil
}

// resolved is a path without links; what isn't there yet is taken as it is named.
func resolved(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	full, err := filepath.EvalSymlinks(path)
	if errors.Is(err, fs.ErrNotExist) && filepath.Dir(path) != path {
		dir, err := resolved(filepath.Dir(path))
		return filepath.Join(dir, filepath.Base(path)), err
	}
	return full, err
}
