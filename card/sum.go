package card

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"sync"

	"mullion/card/disk"
)

var blocks = sync.Pool{New: func() any { b := make([]byte, block); return &b }}

func take() []byte  { return *blocks.Get().(*[]byte) }
func give(b []byte) { blocks.Put(&b) }

// sumOf returns a file's SHA-256 in hex; fresh asks for it from the medium rather
// than from the system's cache.
func sumOf(ctx context.Context, fsys disk.FS, name string, fresh bool) (string, error) {
	f, err := fsys.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	if fresh {
		f.Forget()
	}
	h := sha256.New()
	if err := hashAll(ctx, h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func hashAll(ctx context.Context, h hash.Hash, r io.Reader) error {
	buf := take()
	defer give(buf)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := r.Read(buf)
		h.Write(buf[:n])
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// Sum returns the SHA-256 of a file in lower-case hex and its size in bytes.
func Sum(ctx context.Context, name string) (sum string, size int64, err error) {
	sum, err = sumOf(ctx, disk.OS, name, false)
	if err != nil {
		if ctx.Err() != nil {
			return "", 0, ctx.Err()
		}
		return "", 0, readError(name, err)
	}
	info, err := disk.OS.Stat(name)
	if err != nil {
		return "", 0, readError(name, err)
	}
	return sum, info.Size(), nil
}
