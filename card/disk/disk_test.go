package disk_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"mullion/card/disk"
	"mullion/card/disk/disktest"
)

func TestRenameNewNeverReplaces(t *testing.T) {
	dir := t.TempDir()
	a, b := filepath.Join(dir, "a"), filepath.Join(dir, "b")
	os.WriteFile(a, []byte("new"), 0o644)
	os.WriteFile(b, []byte("old"), 0o644)
	if err := disk.OS.RenameNew(a, b); !errors.Is(err, fs.ErrExist) {
		t.Fatalf("err = %v, want fs.ErrExist", err)
	}
	if got, _ := os.ReadFile(b); string(got) != "old" {
		t.Fatalf("b = %q: it was replaced", got)
	}
	if err := disk.OS.RenameNew(a, filepath.Join(dir, "c")); err != nil {
		t.Fatal(err)
	}
}

func TestLockIsExclusive(t *testing.T) {
	dir := t.TempDir()
	l, err := disk.OS.Lock(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := disk.OS.Lock(dir); !errors.Is(err, disk.ErrLocked) {
		t.Fatalf("second lock: %v, want ErrLocked", err)
	}
	l.Close()
	l, err = disk.OS.Lock(dir)
	if err != nil {
		t.Fatalf("after the first was released: %v", err)
	}
	l.Close()
}

func TestSweepTakesOnlyParts(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "pages"), 0o755); err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{"a.jpg": true, disk.Part("a.jpg"): false, "own.part": true, ".hidden": true, ".part": true,
		"pages/b.jpg": true, disk.Part("pages/b.jpg"): false}
	for name := range there {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := disk.Sweep(dir); err != nil {
		t.Fatal(err)
	}
	for name, want := range there {
		if _, err := os.Stat(filepath.Join(dir, name)); (err == nil) != want {
			t.Errorf("%s is there: %v, want %v", name, err == nil, want)
		}
	}
	if err := disk.Sweep(filepath.Join(dir, "none")); err != nil {
		t.Errorf("a folder that isn't there: %v", err)
	}
}

func TestSettle(t *testing.T) {
	name := filepath.Join(t.TempDir(), "x")
	f, err := disk.OS.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	when := time.Date(2026, 5, 14, 10, 42, 7, 123456000, time.UTC)
	if err := f.Settle(when, 0o444); err != nil {
		t.Fatal(err)
	}
	f.Close()
	info, _ := os.Stat(name)
	if !info.ModTime().Equal(when) || info.Mode().Perm() != 0o444 {
		t.Fatalf("time %v, mode %v", info.ModTime(), info.Mode())
	}
}

// A write that is killed after any of its steps leaves the old or the new file.
func TestWriteFileKilledAtEveryStep(t *testing.T) {
	for step := 0; ; step++ {
		dir := t.TempDir()
		name := filepath.Join(dir, "doc")
		if err := disk.WriteFile(disk.OS, name, []byte("old")); err != nil {
			t.Fatal(err)
		}
		broken := disktest.KillAfter(disk.OS, step)
		err := disk.WriteFile(broken, name, []byte("new"))
		got, readErr := os.ReadFile(name)
		if readErr != nil {
			t.Fatalf("step %d: %v", step, readErr)
		}
		if s := string(got); s != "old" && s != "new" {
			t.Fatalf("step %d: the file holds %q", step, s)
		}
		if err == nil {
			if string(got) != "new" {
				t.Fatalf("step %d: success reported, the file holds %q", step, got)
			}
			if step < 5 {
				t.Fatalf("only %d steps were seen: the faults do not reach the writer", step)
			}
			return
		}
		if err := disk.WriteFile(disk.OS, name, []byte("next")); err != nil {
			t.Fatalf("step %d: the next run: %v", step, err)
		}
	}
}
