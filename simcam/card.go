package simcam

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// Shot is the truth about one file of a card.
type Shot struct {
	File    string
	View    string
	Frame   Frame
	ScaleDN float64 // counts above black for a camera RGB of 1
	Clipped float64 // fraction of photosites at the clipping level
	Dark    float64 // fraction within 16 counts of the black level or below
}

// Folder is where the camera keeps its files on a card.
const Folder = "DCIM/100LFELD"

// FileName is the name of the file with the given number and ending.
func FileName(number int, ending string) string { return fmt.Sprintf("LF1_%04d.%s", number, ending) }

// Shoot photographs the views and writes the files to Folder under dir, which it
// makes. It returns the truth about every frame, in the order of the file names.
// progress, if not nil, is told after every frame how many of how many are
// written, and which view was worked on; it is called from one goroutine at a
// time. A file that could not be written whole is removed.
func (c *Camera) Shoot(ctx context.Context, dir string, views []View, s Settings,
	progress func(done, total int, view string)) ([]Shot, error) {
	if err := s.check(views); err != nil {
		return nil, err
	}
	folder := filepath.Join(dir, filepath.FromSlash(Folder))
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return nil, fmt.Errorf("card: %w", err)
	}
	shots := make([]Shot, len(views)*len(s.EV))
	tell := counter(len(shots), progress)
	// Scenes are loaded one after the other here, while the frames of the scenes
	// before are exposed and written beside it.
	group, gctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	session := c.session(s)
	err := func() error {
		for _, v := range views {
			err := session.take(gctx, v, func(p *Projection, frames []Frame) error {
				var left atomic.Int32
				left.Store(int32(len(frames)))
				for _, f := range frames {
					group.Go(func() error {
						defer func() {
							if left.Add(-1) == 0 {
								p.Close()
							}
						}()
						shot, err := c.write(gctx, folder, p, f, &s)
						if err != nil {
							return fmt.Errorf("view %s: %w", v.Name, err)
						}
						shot.View = v.Name
						shots[int(f.Number)-s.First] = shot
						tell(v.Name)
						return nil
					})
				}
				return nil
			})
			if err != nil {
				return err
			}
		}
		return nil
	}()
	// A failing worker cancels the loop above: its error is the one that counts.
	if werr := group.Wait(); werr != nil && (err == nil || errors.Is(err, context.Canceled)) {
		err = werr
	}
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("card: %w", err)
	}
	return shots, nil
}

func counter(total int, progress func(done, total int, view string)) func(view string) {
	var mu sync.Mutex
	done := 0
	return func(view string) {
		if progress == nil {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		done++
		progress(done, total, view)
	}
}

// write exposes one frame and writes its files.
func (c *Camera) write(ctx context.Context, folder string, p *Projection, f Frame, s *Settings) (Shot, error) {
	r, err := c.Expose(ctx, p, f)
	if err != nil {
		return Shot{}, err
	}
	name := FileName(int(f.Number), "DNG")
	if err := create(filepath.Join(folder, name), func(w io.Writer) error {
		return r.WriteDNG(w, s.Uncompressed)
	}); err != nil {
		return Shot{}, err
	}
	if s.JPEG {
		path := filepath.Join(folder, FileName(int(f.Number), "JPG"))
		if err := create(path, func(w io.Writer) error { return r.WriteJPEG(ctx, w) }); err != nil {
			return Shot{}, err
		}
	}
	return r.shot(name), nil
}

func (r *Raw) shot(name string) Shot {
	clipped, dark := 0, 0
	white, low := uint16(r.Camera.White), uint16(r.Camera.Black+16)
	for _, v := range r.Pix {
		if v >= white {
			clipped++
		} else if v <= low {
			dark++
		}
	}
	n := float64(len(r.Pix))
	return Shot{
		File: name, Frame: r.Frame, ScaleDN: r.Camera.ScaleToDN(r.Frame),
		Clipped: float64(clipped) / n, Dark: float64(dark) / n,
	}
}

// create writes a file through fill, and removes it again when that fails.
func create(path string, fill func(io.Writer) error) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			os.Remove(path)
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := fill(w); err != nil {
		return err
	}
	return w.Flush()
}
