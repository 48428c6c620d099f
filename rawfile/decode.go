package rawfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"mullion/metadata"
	"mullion/rawfile/apart"
)

// IsFrame reports whether a file of this name is a picture the house reads.
func IsFrame(name string) bool { return metadata.IsFrameName(name) }

// IsRaw reports whether a file of this name holds sensor data.
func IsRaw(name string) bool { return metadata.IsRawName(name) }

// Decode reads the frame at path. The file is read once. Errors about the file are
// [*metadata.FileError]: they say which file, what is wrong and what to do. A file that
// crashes its decoder, or takes it a minute, is such an error too (see [apart]).
func Decode(ctx context.Context, path string) (*Frame, error) {
	var f *Frame
	err := withFile(ctx, path, func(h here) (err error) {
		f, err = h.frame(ctx)
		return err
	})
	return f, err
}

// Rest gives back the memory that decoding holds ready for the next file. Who has read
// everything may call it; what is read later only starts more slowly.
func Rest() { apart.Rest() }

// DecodeBytes is Decode for a file in memory. The path serves its ending and the
// errors; data must not change during the call.
func DecodeBytes(ctx context.Context, path string, data []byte) (*Frame, error) {
	var f *Frame
	err := withBytes(ctx, path, data, func(h here) (err error) {
		f, err = h.frame(ctx)
		return err
	})
	return f, err
}

// open says what a file is before its pixels are touched. Everything here is ours and
// Go's: it needs no process apart.
func open(ctx context.Context, path string, data []byte) (metadata.Kind, metadata.Info, error) {
	r := bytes.NewReader(data)
	kind, err := metadata.Sniff(path, r, int64(len(data)))
	if err != nil {
		return kind, metadata.Info{}, err
	}
	info, err := metadata.ReadFrom(ctx, path, r, int64(len(data)))
	return kind, info, err
}

// rendered tells pictures that Go's own decoders read from those that C libraries do.
// Some cameras name their raw files .TIF.
func rendered(path string, kind metadata.Kind, data []byte) bool {
	return kind == metadata.KindPNG ||
		kind == metadata.KindTIFF && !metadata.IsRawName(path) && !isMosaic(data)
}

// unpack runs the C library that the file needs.
func unpack(ctx context.Context, u *unpacked, kind metadata.Kind, data []byte) error {
	switch kind {
	case metadata.KindJPEG:
		return unpackJPEG(ctx, u, data)
	case metadata.KindHEIF:
		return unpackHEIC(ctx, u, data)
	}
	return unpackRaw(ctx, u, data)
}

// decodeHere decodes in this process.
func decodeHere(ctx context.Context, path string, data []byte) (*Frame, error) {
	kind, info, err := open(ctx, path, data)
	if err != nil {
		return nil, err
	}
	if rendered(path, kind, data) {
		f := &Frame{Path: path, Info: info}
		return f, decodeRendered(ctx, f, data, kind)
	}
	u := &unpacked{path: path, Info: info}
	if err := unpack(ctx, u, kind, data); err != nil {
		u.giveBack()
		return nil, err
	}
	return u.frame(ctx)
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
	if st != nil && st.Size() > apart.MaxIn {
		return nil, tooLarge(path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return data, ctx.Err()
}

func tooLarge(path string) error {
	return &metadata.FileError{Path: path, Problem: fmt.Sprintf("the file is larger than %d GB", apart.MaxIn>>30), Advice: "leave it out: no camera frame is that large"}
}

func unreadable(path string, err error) error {
	var pe *fs.PathError
	why := err.Error()
	if errors.As(err, &pe) {
		why = pe.Err.Error()
	}
	return &metadata.FileError{Path: path, Problem: "can't be read: " + why, Advice: "check the card and its reader, then copy the file again", Err: err}
}

// damaged is the error for pictures that are only partly there.
func damaged(path, problem string, err error) error {
	return &metadata.FileError{Path: path, Problem: "damaged or truncated: " + problem, Advice: metadata.AdviceCopyAgain, Err: err}
}
