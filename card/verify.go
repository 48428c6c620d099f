package card

import (
	"context"
	"errors"
	"io/fs"
	"path/filepath"

	"mullion/card/disk"
)

// State is what Verify found out about one file.
type State int

const (
	Sound      State = iota // there, and its contents are the manifest's
	Missing                 // listed but not there
	Changed                 // there with other contents
	Unreadable              // there, but the medium doesn't give it back
	Unlisted                // a picture that the manifest doesn't know
)

func (s State) String() string {
	return [...]string{"sound", "missing", "changed", "unreadable", "unlisted"}[s]
}

// Verified is the state of one file of a folder of originals.
type Verified struct {
	Entry
	State State
	Err   error // nil when the file is sound
}

// Verify reads every file of a folder of originals from its medium and compares
// it with the manifest. The list has all of them, in the manifest's order and then
// the unlisted ones; the error is about the folder or the manifest as a whole.
func Verify(ctx context.Context, dir string) ([]Verified, error) { return verifyVia(ctx, disk.OS, dir) }

func verifyVia(ctx context.Context, fsys disk.FS, dir string) ([]Verified, error) {
	m, err := readManifest(fsys, dir)
	if err != nil {
		return nil, err
	}
	if len(m.entries) == 0 {
		return nil, fileError(dir, "there is no manifest here", "name a shoot's originals folder", nil)
	}
	var list []Verified
	for _, e := range m.Entries() {
		v := Verified{Entry: e}
		name := filepath.Join(dir, filepath.FromSlash(e.Rel))
		sum, err := sumOf(ctx, fsys, name, true)
		switch {
		case ctx.Err() != nil:
			return list, ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
			v.State, v.Err = Missing, fileError(name, "the file is missing", "copy it from the card or the second copy", err)
		case err != nil:
			v.State, v.Err = Unreadable, readError(name, err)
		case sum != e.SHA256:
			v.State, v.Err = Changed, fileError(name, "the contents have changed since it came off the card", "copy it from the card or the second copy", nil)
		}
		list = append(list, v)
	}
	return append(list, unlisted(ctx, dir, m)...), ctx.Err()
}

func unlisted(ctx context.Context, dir string, m *Manifest) []Verified {
	files, _, _ := Scan(ctx, dir)
	var list []Verified
	for _, f := range files {
		for _, g := range members(f) {
			if _, ok := m.Get(g.Rel); !ok {
				err := fileError(g.Path, "the manifest doesn't list this file", "copy the card again to have it compared and listed", nil)
				list = append(list, Verified{Entry: Entry{Rel: g.Rel, Size: g.Size, ModTime: g.ModTime}, State: Unlisted, Err: err})
			}
		}
	}
	return list
}
