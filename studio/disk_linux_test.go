package studio

import (
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// tinyDisk is a file system of its own that can be filled, or skips the test: mounting
// needs rights that not every machine gives.
func tinyDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64m"); err != nil {
		t.Skipf("no small disk can be mounted here (%v); MULLION_SMALL_DISK may name one", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fill writes until the disk takes no more.
func fill(t *testing.T, dir string) {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "filler"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			if !errors.Is(err, syscall.ENOSPC) {
				t.Fatal(err)
			}
			size /= 2
		}
	}
}

func glassData(t *testing.T, g glass) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(g.Data)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
