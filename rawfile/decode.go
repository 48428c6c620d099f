package rawfile

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"

	"mullion/metadata"
)

// maxFileBytes bounds what is read into memory: four times the largest camera file.
const maxFileBytes = 2 << 30

// IsFrame reports whether a file of this name is a picture the house reads.
func IsFrame(name string) bool { return metadata.IsFrameName(name) }

// IsRaw reports whether a file of this name holds sensor data.
func IsRaw(name string) bool { return metadata.IsRawName(name) }

// Decode reads the frame at path. The file is read once. Errors about the file are
// [*metadata.FileError]: they say which file, what is wrong and what to do.
func Decode(ctx context.Context, path string) (*Frame, error) {
	data, err := readFile(ctx, path)
	if err != nil {
		return nil, err
	}
	return DecodeBytes(ctx, path, data)
}

// DecodeBytes is Decode for a file in memory. The path serves its ending and the
// errors; data must not change during the call.
func DecodeBytes(ctx context.Context, path string, data []byte) (*Frame, error) {
	r := bytes.NewReader(data)
	kind, err := metadata.Sniff(path, r, int64(len(data)))
	if err != nil {
		return nil, err
	}
	info, err := metadata.ReadFrom(ctx, path, r, int64(len(data)))
	if err != nil {
		return nil, err
	}
	f := &Frame{Path: path, Info: info}
	switch {
	case kind == metadata.KindJPEG:
		err = decodeJPEG(ctx, f, data)
	case kind == metadata.KindPNG, kind == metadata.KindHEIF, kind == metadata.KindTIFF && !metadata.IsRawName(path):
		err = decodeRendered(ctx, f, data, kind)
	default:
		err = decodeRaw(ctx, f, data)
	}
	if err != nil {
		return nil, err
	}
	return f, nil
}

func readFile(ctx context.Context, path string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	st, err := os.Stat(path)
	if err != nil || st.IsDir() || st.Size() == 0 {
		if _, err := metadata.Read(ctx, path); err != nil { // it has the words
			return nil, err
		}
	}
	if st != nil && st.Size() > maxFileBytes {
		return nil, &metadata.FileError{Path: path, Problem: "the file is larger than 2 GB", Advice: "leave it out: no camera frame is that large"}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		var pe *fs.PathError
		why := err.Error()
		if errors.As(err, &pe) {
			why = pe.Err.Error()
		}
		return nil, &metadata.FileError{Path: path, Problem: "can't be read: " + why, Advice: "check the card and its reader, then copy the file again", Err: err}
	}
	return data, ctx.Err()
}

// damaged is the error for pictures that are only partly there.
func damaged(path, problem string, err error) error {
	return &metadata.FileError{Path: path, Problem: "damaged or truncated: " + problem, Advice: metadata.AdviceCopyAgain, Err: err}
}
