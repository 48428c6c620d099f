package shoot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"time"

	"mullion/card"
)

// Key is the hash of all that a finished picture depends on: the contents of the
// frames in their order, the settings, the delivery sheet and the engine's version.
// Settings and sheet are anything that encoding/json can write.
func Key(frames []Frame, settings, sheet any, engine string) (string, error) {
	hashes := make([]string, len(frames))
	for i, f := range frames {
		hashes[i] = f.SHA256
	}
	data, err := json.Marshal(struct {
		Frames          []string
		Settings, Sheet any
		Engine          string
	}{hashes, settings, sheet, engine})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// Finished reports whether a view's delivery was made from the same key and all its
// files are there unchanged, and returns the record. It reads the files.
func (s *Shoot) Finished(ctx context.Context, view, delivery, key string) (Done, bool, error) {
	v := s.Doc().View(view)
	if v == nil {
		return Done{}, false, nil
	}
	d, ok := v.Done[delivery]
	if !ok || d.Key != key || len(d.Outputs) == 0 {
		return Done{}, false, nil
	}
	for _, o := range d.Outputs {
		info, err := os.Stat(s.Path(o.Path))
		if err != nil || info.Size() != o.Size {
			return Done{}, false, nil
		}
		sum, _, err := card.Sum(ctx, s.Path(o.Path))
		if ctx.Err() != nil {
			return Done{}, false, ctx.Err()
		}
		if err != nil || sum != o.SHA256 {
			return Done{}, false, nil
		}
	}
	return d, true, nil
}

// Finish records that a view's delivery is complete. The files, given by their
// paths, are read for their hashes; they must lie in the shoot folder.
func (s *Shoot) Finish(ctx context.Context, view, delivery, key string, files []string) error {
	d := Done{Key: key, At: time.Now().UTC().Truncate(time.Second)}
	for _, name := range files {
		sum, size, err := card.Sum(ctx, name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(s.dir, name)
		if err != nil || !filepath.IsLocal(rel) {
			return problem(name, "a delivered file must lie in the shoot folder", "write it below "+s.dir, err)
		}
		d.Outputs = append(d.Outputs, Output{Path: filepath.ToSlash(rel), SHA256: sum, Size: size})
	}
	return s.Update(ctx, func(doc *Doc) error {
		v := doc.View(view)
		if v == nil {
			return problem(s.dir, "there is no "+view+" in this shoot", "see shoot.json for its views", nil)
		}
		if v.Done == nil {
			v.Done = map[string]Done{}
		}
		d.Extra = v.Done[delivery].Extra
		v.Done[delivery] = d
		return nil
	})
}
