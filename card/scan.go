// Package card takes pictures off a memory card without losing one.
//
// Scan finds the frames, Copy brings every file over byte for byte, and Verify
// proves at any later time that nothing changed. The card is only ever opened for
// reading. A file counts as copied when its contents, read back from the
// destination's medium, have the hash of what was read from the card; until then
// it has a temporary name.
//
// The order of steps follows what backup practice asks of a safe copy: copy
// before anything else, two independent copies, compare by reading back.
package card

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"mullion/card/natural"
	"mullion/metadata"
)

// File is one frame on a card, or a companion of one.
type File struct {
	Path    string // where it lies
	Rel     string // its path below the scanned folder, with forward slashes
	Size    int64  // in bytes
	ModTime time.Time
	Raw     bool // sensor data rather than a rendered picture
	// Companions are files of the same name in the same folder that belong to this
	// frame and are copied with it: the camera's JPEG beside a raw file, sidecars.
	Companions []File
}

// Problem is a file the scan left out and why.
type Problem struct {
	Path string
	Err  error
	// Left is true of a file that was left on purpose, such as a film; false when
	// something went wrong.
	Left bool
}

func (p Problem) Error() string { return p.Err.Error() }

// Scan walks a folder and returns its frames in natural order of their paths.
//
// A raw file and the camera's JPEG or HEIC of the same name count as one frame.
// Hidden files, the system's own folders and shoot folders are passed over;
// linked folders are followed once. Films and sound are listed as problems with
// Left set, because whoever formats the card should know of them. It fails when
// the folder cannot be read or has no pictures.
func Scan(ctx context.Context, root string) ([]File, []Problem, error) {
	root = filepath.Clean(root)
	info, err := os.Stat(root)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, fileError(root, "there is no such folder", "check the name, and that the card is in its reader", err)
	case err != nil:
		return nil, nil, fileError(root, "the folder can't be read", "put the card in again or try another reader", err)
	case !info.IsDir():
		return nil, nil, fileError(root, "this is a file, not a folder", "name the card or the folder the pictures are in", nil)
	case isShoot(root):
		return nil, nil, fileError(root, "this is a shoot folder, not a card", "name its originals folder, or the card itself", nil)
	}
	w := walker{root: root, seen: map[string]bool{}}
	w.folder(ctx, root)
	for len(w.links) > 0 && ctx.Err() == nil { // after everything else: a real path is the better name
		link := w.links[0]
		w.links = w.links[1:]
		w.link(ctx, link)
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	frames := pair(w.files)
	if len(frames) == 0 {
		return nil, w.problems, fileError(root, "no pictures in this folder", "name the card or the folder the camera wrote to (often DCIM)", nil)
	}
	return frames, w.problems, nil
}

func fileError(path, problem, advice string, err error) error {
	return &metadata.FileError{Path: path, Problem: problem, Advice: advice, Err: err}
}

// isShoot reports whether a folder is one of our own, whose copies are no card.
func isShoot(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "shoot.json"))
	return err == nil
}

// systemFolders are written by computers, not by cameras.
var systemFolders = map[string]bool{
	"system volume information": true, "$recycle.bin": true, "recycler": true, "lost+found": true,
	"__macosx": true, "lost.dir": true, "@eadir": true,
}

// films are files of a shoot that the house doesn't work on.
var films = map[string]bool{
	".mov": true, ".mp4": true, ".m4v": true, ".avi": true, ".mts": true, ".m2ts": true, ".mxf": true,
	".crm": true, ".insv": true, ".360": true, ".wav": true, ".mp3": true,
}

// sidecars describe a frame of the same name.
var sidecars = map[string]bool{".xmp": true, ".thm": true, ".wav": true}

type walker struct {
	root     string
	files    []File
	problems []Problem
	links    []string
	seen     map[string]bool // real paths of folders walked
}

func (w *walker) folder(ctx context.Context, dir string) {
	real, err := filepath.EvalSymlinks(dir)
	if err == nil && w.seen[real] {
		return
	}
	w.seen[real] = true
	entries, err := os.ReadDir(dir)
	if err != nil {
		w.fail(dir, "the folder can't be read", err)
	}
	for _, e := range entries {
		if ctx.Err() != nil {
			return
		}
		name := e.Name()
		path := filepath.Join(dir, name)
		switch {
		case strings.HasPrefix(name, "."):
		case e.Type()&fs.ModeSymlink != 0:
			w.links = append(w.links, path)
		case e.IsDir():
			if !systemFolders[strings.ToLower(name)] && !isShoot(path) {
				w.folder(ctx, path)
			}
		case e.Type().IsRegular() && wanted(name):
			info, err := e.Info()
			w.add(path, info, err)
		}
	}
}

func (w *walker) link(ctx context.Context, path string) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		if wanted(filepath.Base(path)) {
			w.fail(path, "the link leads nowhere", err)
		}
	case info.IsDir():
		if !isShoot(path) {
			w.folder(ctx, path)
		}
	case info.Mode().IsRegular() && wanted(filepath.Base(path)):
		if real, err := filepath.EvalSymlinks(path); err == nil && w.seen[filepath.Dir(real)] {
			return // the file itself has been found
		}
		w.add(path, info, nil)
	}
}

func wanted(name string) bool {
	e := strings.ToLower(filepath.Ext(name))
	return metadata.IsFrameName(name) || films[e] || sidecars[e]
}

func (w *walker) add(path string, info fs.FileInfo, err error) {
	if err != nil {
		w.fail(path, "the file can't be read", err)
		return
	}
	rel, err := filepath.Rel(w.root, path)
	if err != nil {
		rel = filepath.Base(path)
	}
	name := filepath.Base(path)
	e := strings.ToLower(filepath.Ext(name))
	if films[e] && !sidecars[e] {
		err := fileError(path, "this is a film, which Mullion doesn't copy", "copy it yourself before the card is formatted", nil)
		w.problems = append(w.problems, Problem{Path: path, Err: err, Left: true})
		return
	}
	w.files = append(w.files, File{
		Path: path, Rel: filepath.ToSlash(rel), Size: info.Size(), ModTime: info.ModTime(), Raw: metadata.IsRawName(name),
	})
}

func (w *walker) fail(path, problem string, err error) {
	err = fileError(path, fmt.Sprintf("%s (%v)", problem, cause(err)), "put the card in again or try another reader", err)
	w.problems = append(w.problems, Problem{Path: path, Err: err})
}

// cause is the innermost error, without the path that the sentence has already.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}

// pair puts companions to their frames and returns the frames in natural order.
func pair(files []File) []File {
	slices.SortFunc(files, func(a, b File) int { return natural.Compare(a.Rel, b.Rel) })
	first := map[string]int{} // folder and stem -> the best frame of that name
	for i, f := range files {
		best, taken := first[stem(f.Rel)]
		if metadata.IsFrameName(f.Rel) && (!taken || rank(f) < rank(files[best])) {
			first[stem(f.Rel)] = i
		}
	}
	frames := make([]File, 0, len(files))
	at := map[int]int{} // index in files -> index in frames
	for i, f := range files {
		best := first[stem(f.Rel)]
		if metadata.IsFrameName(f.Rel) && (best == i || f.Raw || rank(f) == rank(File{Rel: "x.png"})) {
			at[i] = len(frames)
			frames = append(frames, f)
		}
	}
	for i, f := range files {
		if _, own := at[i]; own {
			continue
		}
		if best, ok := first[stem(f.Rel)]; ok {
			frame := &frames[at[best]]
			frame.Companions = append(frame.Companions, f)
		}
	}
	return frames
}

// rank orders what may stand for a frame: raw, then the camera's rendered files,
// then files that a camera does not write as a companion.
func rank(f File) int {
	switch e := strings.ToLower(filepath.Ext(f.Rel)); {
	case f.Raw:
		return 0
	case e == ".jpg" || e == ".jpeg" || e == ".jpe":
		return 1
	case e == ".heic" || e == ".heif" || e == ".hif":
		return 2
	}
	return 3
}

func stem(rel string) string { return strings.ToLower(strings.TrimSuffix(rel, filepath.Ext(rel))) }
