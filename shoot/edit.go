package shoot

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"mullion/card"
	"mullion/card/disk"
)

// Edit is something that is taken out of a view's picture, or made unreadable in it.
// The place is kept in the geometry of the upright frame as the camera saw it, so that
// a later change of plumb, level or crop leaves it where it is.
type Edit struct {
	ID     int    `json:"id"`     // within the view, from 1, never used again
	Action string `json:"action"` // "remove" or "soften"
	Kind   string `json:"kind"`
	What   string `json:"what"` // in words, for the caption

	// Frame is the width and height in pixels of the upright frame that the places
	// below are measured in.
	Frame   [2]int   `json:"frame"`
	Strokes []string `json:"strokes,omitempty"` // "x1,y1 x2,y2 ... @width"
	Boxes   []string `json:"boxes,omitempty"`   // "x,y WIDTHxHEIGHT"
	Mask    string   `json:"mask,omitempty"`    // a PNG below the shoot folder
	MaskSum string   `json:"mask_sha256,omitempty"`

	At      time.Time `json:"at"`
	Version string    `json:"version"` // of the program it was asked from

	Extra Extra `json:"-"`
}

// AddEdit enters an edit, with its ID and time, and returns it. maskFile, when not
// empty, is a PNG that is copied into the shoot.
func (s *Shoot) AddEdit(ctx context.Context, view string, e Edit, maskFile string) (Edit, error) {
	e.At = time.Now().UTC().Truncate(time.Second)
	if maskFile != "" {
		if err := s.keepMask(ctx, &e, maskFile); err != nil {
			return e, err
		}
	}
	err := s.Update(ctx, func(d *Doc) error {
		v := d.View(view)
		if v == nil {
			return s.noView(view)
		}
		v.LastEdit++
		e.ID = v.LastEdit
		v.Edits = append(v.Edits, e)
		return nil
	})
	return e, err
}

// keepMask copies a mask to masks/ under the hash of its contents.
func (s *Shoot) keepMask(ctx context.Context, e *Edit, file string) error {
	sum, _, err := card.Sum(ctx, file)
	if err != nil {
		return err
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	e.Mask, e.MaskSum = "masks/"+sum[:16]+".png", sum
	path := s.Path(e.Mask)
	if err := s.fs.MkdirAll(filepath.Dir(path)); err != nil {
		return problem(path, fmt.Sprintf("the mask's folder can't be made (%v)", err), "check the disk and the folder's permissions", err)
	}
	if err := disk.WriteFile(s.fs, path, data); err != nil {
		return problem(path, fmt.Sprintf("the mask can't be kept (%v)", err), "check the disk, then run this again", err)
	}
	return nil
}

// UndoEdit takes an edit back and returns it; id 0 is the latest of the action. The
// mask's file stays.
func (s *Shoot) UndoEdit(ctx context.Context, view, action string, id int) (Edit, error) {
	var gone Edit
	err := s.Update(ctx, func(d *Doc) error {
		v := d.View(view)
		if v == nil {
			return s.noView(view)
		}
		for i := len(v.Edits) - 1; i >= 0; i-- {
			if e := v.Edits[i]; e.Action == action && (id == 0 || e.ID == id) {
				gone = e
				v.Edits = append(v.Edits[:i], v.Edits[i+1:]...)
				return nil
			}
		}
		if id == 0 {
			return fmt.Errorf("%s has nothing of this kind to undo", view)
		}
		return fmt.Errorf("%s has no number %d to undo", view, id)
	})
	return gone, err
}

func (s *Shoot) noView(view string) error {
	return problem(s.dir, "there is no "+view+" in this shoot", "see shoot.json for its views", nil)
}
