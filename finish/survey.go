package finish

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"

	"mullion/card"
	"mullion/group"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

// thumbEdge is the long edge of the small pictures that tell views apart.
const thumbEdge = 256

// Survey is what lies on a card before anything is processed: its frames, what the
// camera wrote about them, and the views they group into.
type Survey struct {
	Frames []SurveyFrame
	Views  []group.View   // indices into Frames
	Failed []Failure      // files that can't be used, and why
	Left   []card.Problem // files that were passed over on purpose, such as films
}

// SurveyFrame is one frame of a survey.
type SurveyFrame struct {
	card.File
	Info metadata.Info
}

// Look surveys a card or any other folder. It only reads. report, which may be nil,
// is told about progress. A file that can't be read is listed in Failed and the rest
// goes on; the error is for a folder that can't be used at all, or the context's.
func Look(ctx context.Context, root string, report func(Event)) (*Survey, error) {
	files, problems, err := card.Scan(ctx, root)
	if err != nil {
		return nil, err
	}
	s := &Survey{}
	for _, p := range problems {
		if p.Left {
			s.Left = append(s.Left, p)
		} else {
			s.Failed = append(s.Failed, Failure{What: p.Path, Why: p.Err.Error()})
		}
	}
	if err := s.read(ctx, files, report); err != nil {
		return nil, err
	}
	return s, s.group(ctx)
}

// LookAt surveys the frames at paths, wherever they lie; root is the folder below which
// they are named. It is as Look else.
func LookAt(ctx context.Context, root string, paths []string, report func(Event)) (*Survey, error) {
	s := &Survey{}
	var files []card.File
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			s.Failed = append(s.Failed, Failure{What: path, Why: err.Error()})
			continue
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			rel = path
		}
		files = append(files, card.File{Path: path, Rel: filepath.ToSlash(rel), Size: info.Size(), ModTime: info.ModTime(), Raw: metadata.IsRawName(path)})
	}
	if err := s.read(ctx, files, report); err != nil {
		return nil, err
	}
	return s, s.group(ctx)
}

// read fills Frames with the metadata of files, in their order.
func (s *Survey) read(ctx context.Context, files []card.File, report func(Event)) error {
	infos := make([]metadata.Info, len(files))
	errs := make([]error, len(files))
	var done atomic.Int64
	each(ctx, len(files), func(i int) {
		infos[i], errs[i] = rawfile.ReadInfo(ctx, files[i].Path)
		if report != nil {
			report(Event{Step: "looking at frames", Done: int(done.Add(1)), Total: len(files)})
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	for i, f := range files {
		if errs[i] != nil {
			s.Failed = append(s.Failed, Failure{What: f.Path, Why: errs[i].Error()})
			continue
		}
		s.Frames = append(s.Frames, SurveyFrame{f, infos[i]})
	}
	return nil
}

func (s *Survey) group(ctx context.Context) error {
	frames := make([]group.Frame, len(s.Frames))
	for i, f := range s.Frames {
		frames[i] = group.Frame{Path: f.Path, Info: f.Info}
	}
	var err error
	s.Views, err = group.Views(ctx, frames, func(ctx context.Context, i int) (*raster.Plane, error) {
		return rawfile.Thumb(ctx, s.Frames[i].Path, thumbEdge)
	})
	return err
}

// each calls fn for 0 to n-1 on all cores, until the context ends.
func each(ctx context.Context, n int, fn func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				fn(i)
			}
		})
	}
	wg.Wait()
}
