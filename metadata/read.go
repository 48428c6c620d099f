package metadata

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
)

// Read returns what the camera wrote about the frame at path. It reads tags, never
// pixels. A file whose kind it can't read tags of gives an Info with Orientation 1,
// Mode ModeUnknown and zeros; a file that can't be the picture its name claims
// gives a [*FileError].
func Read(ctx context.Context, path string) (Info, error) {
	if err := ctx.Err(); err != nil {
		return Info{}, err
	}
	f, err := os.Open(path)
	if err != nil {
		return Info{}, openError(path, err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Info{}, openError(path, err)
	}
	if st.IsDir() {
		return Info{}, &FileError{Path: path, Problem: "this is a folder, not a picture", Advice: "name the files in it"}
	}
	return ReadFrom(ctx, path, f, st.Size())
}

// ReadFrom is Read for a file that is open or in memory. The path serves its
// ending and the errors.
func ReadFrom(ctx context.Context, path string, r io.ReaderAt, size int64) (Info, error) {
	info := Info{Orientation: 1, Mode: ModeUnknown}
	if err := ctx.Err(); err != nil {
		return info, err
	}
	kind, err := Sniff(path, r, size)
	if err != nil {
		return info, err
	}
	switch kind {
	case KindJPEG:
		readJPEG(io.NewSectionReader(r, 0, size), &info)
	case KindTIFF:
		readTIFF(r, size, &info)
	case KindFuji:
		readFuji(r, size, &info)
	case KindCR3:
		readCR3(r, size, &info)
	case KindHEIF:
		readHEIF(r, size, &info)
	case KindPNG:
		readPNG(r, size, &info)
	}
	if info.Orientation == 0 {
		info.Orientation = 1
	}
	return info, nil
}

// openError tells the usual reasons apart.
func openError(path string, err error) error {
	e := &FileError{Path: path, Problem: "can't be read: " + reason(err), Advice: "check the card and its reader, then copy the file again", Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Problem, e.Advice = "there is no such file", "check the name, and whether the card is still in its reader"
	case errors.Is(err, fs.ErrPermission):
		e.Problem, e.Advice = "reading it is not permitted", "change the file's permissions or copy it to a folder of yours"
	}
	return e
}

// reason is the operating system's word without the path, which the error names anyway.
func reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}
