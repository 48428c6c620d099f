package demo

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"mullion/simcam"
)

// Options says what the card holds.
type Options struct {
	JPEG bool     // a camera JPEG beside every raw file
	Only []string // names of views; none means all
}

// marker tells a folder we wrote from one we must not touch.
const (
	marker     = "DEMO-CARD.txt"
	markerText = "This folder was written by \"mullion demo\": photographs of an invented, rendered house.\nIt may be deleted, and the command may write it again.\n"
)

// Write fills dir with the demo card: DIR/DCIM/100LFELD/LF1_0001.DNG and on,
// five frames a view. It makes dir if it is missing and writes over an earlier
// demo card, but refuses a folder that holds anything else. progress, if not
// nil, is told after every frame how many of how many are written and which view
// was worked on.
func Write(ctx context.Context, dir string, o Options, progress func(done, total int, what string)) error {
	var scenes []simcam.View
	if len(o.Only) == 0 {
		for _, v := range views() {
			scenes = append(scenes, v.Scene())
		}
	}
	for _, name := range o.Only {
		v, err := Truth(name)
		if err != nil {
			return err
		}
		scenes = append(scenes, v.Scene())
	}
	if err := prepare(dir); err != nil {
		return err
	}
	s := simcam.Defaults()
	s.JPEG = o.JPEG
	if _, err := simcam.LF1().Shoot(ctx, dir, scenes, s, progress); err != nil {
		return fmt.Errorf("demo card in %s: %w", dir, err)
	}
	return nil
}

// prepare makes sure that dir is an empty folder or an earlier demo card, takes
// that one's frames away, and marks it as ours before anything else is written.
func prepare(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return fmt.Errorf("demo card: %w", err)
		}
	case err != nil:
		return fmt.Errorf("demo card: %w (give a new or empty folder)", err)
	case len(entries) > 0:
		if b, err := os.ReadFile(filepath.Join(dir, marker)); err != nil || string(b) != markerText {
			return fmt.Errorf("%s is not empty and is not a demo card: nothing was written; give a new or empty folder", dir)
		}
		if err := clearFrames(filepath.Join(dir, filepath.FromSlash(simcam.Folder))); err != nil {
			return fmt.Errorf("demo card: %w", err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, marker), []byte(markerText), 0o666); err != nil {
		return fmt.Errorf("demo card: %w", err)
	}
	return nil
}

// clearFrames removes the files an earlier card had under our names, so that no
// frame of it is left between the new ones.
func clearFrames(folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	for _, e := range entries {
		name := e.Name()
		ext := filepath.Ext(name)
		if e.Type().IsRegular() && strings.HasPrefix(name, "LF1_") && (ext == ".DNG" || ext == ".JPG") {
			if err := os.Remove(filepath.Join(folder, name)); err != nil {
				return err
			}
		}
	}
	return nil
}
