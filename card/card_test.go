package card

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"mullion/card/disk"
	"mullion/card/disk/disktest"
	"mullion/metadata"
)

var shot = time.Date(2026, 5, 14, 10, 42, 7, 250e6, time.UTC)

// put writes a file of a card.
func put(t testing.TB, root, rel string, data []byte) {
	t.Helper()
	name := filepath.Join(root, rel)
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, data, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(name, shot, shot); err != nil {
		t.Fatal(err)
	}
}

// noise is n bytes that no other seed has.
func noise(seed uint64, n int) []byte {
	r := rand.New(rand.NewPCG(seed, 7))
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	return b
}

// testCard is a small card with all that makes copying awkward.
func testCard(t testing.TB) string {
	root := t.TempDir()
	for i := 1; i <= 9; i++ {
		put(t, root, fmt.Sprintf("DCIM/100LFELD/LF1_%04d.DNG", i), noise(uint64(i), 70_000*i))
		put(t, root, fmt.Sprintf("DCIM/100LFELD/LF1_%04d.JPG", i), noise(uint64(100+i), 5000))
	}
	put(t, root, "DCIM/101LFELD/LF1_0001.DNG", noise(50, 2<<20+17)) // same name, other folder
	put(t, root, "Küche Süd/Bild eins.jpg", noise(51, 1<<20))       // exactly one block
	put(t, root, "DCIM/101LFELD/LF1_0002.DNG", noise(50, 2<<20+17)) // same contents, other name
	put(t, root, "DCIM/101LFELD/EMPTY.JPG", nil)
	return root
}

// tree is a folder's files with contents, times and modes, for comparison.
func tree(t testing.TB, root string) map[string]string {
	t.Helper()
	m := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		sum := ""
		if info.Mode().IsRegular() {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			h := sha256.Sum256(b)
			sum = hex.EncodeToString(h[:])
		}
		rel, _ := filepath.Rel(root, path)
		m[filepath.ToSlash(rel)] = fmt.Sprint(sum, info.Mode(), info.ModTime().UnixNano())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func scan(t testing.TB, root string) []File {
	t.Helper()
	files, problems, err := Scan(context.Background(), root)
	if err != nil || len(problems) > 0 {
		t.Fatalf("scan: %v, problems %v", err, problems)
	}
	return files
}

// wantSame checks that each file of the card lies in a destination, byte for byte,
// with its time, read-only, and that nothing else is there.
func wantSame(t testing.TB, root, dest string) {
	t.Helper()
	n := 0
	for _, f := range scan(t, root) {
		for _, m := range members(f) {
			n++
			a, _ := os.ReadFile(m.Path)
			name := filepath.Join(dest, m.Rel)
			b, err := os.ReadFile(name)
			if err != nil || string(a) != string(b) {
				t.Errorf("%s: %d bytes on the card, %d copied (%v)", m.Rel, len(a), len(b), err)
				continue
			}
			info, _ := os.Stat(name)
			if !info.ModTime().Equal(shot) || info.Mode().Perm() != 0o444 {
				t.Errorf("%s: time %v mode %v", m.Rel, info.ModTime(), info.Mode())
			}
		}
	}
	left := 0
	for name, what := range tree(t, dest) {
		if strings.HasSuffix(name, disk.PartSuffix) {
			t.Errorf("%s was left behind", name)
		}
		if !strings.HasPrefix(what, "drwx") {
			left++
		}
	}
	if left != n+1 { // and the manifest
		t.Errorf("%d files in the destination, want %d and a manifest", left, n)
	}
	list, err := Verify(context.Background(), dest)
	if err != nil || len(list) != n {
		t.Fatalf("verify: %d files, %v", len(list), err)
	}
	for _, v := range list {
		if v.State != Sound || !v.ModTime.Equal(shot) {
			t.Errorf("%s: %v %v", v.Rel, v.State, v.Err)
		}
	}
}

func TestCopyTwoDestinations(t *testing.T) {
	root, a, b := testCard(t), filepath.Join(t.TempDir(), "shoot", "originals"), filepath.Join(t.TempDir(), "two")
	before := tree(t, root)
	var last Progress
	r, err := Copy(context.Background(), scan(t, root), []string{a, b}, func(p Progress) { last = p })
	if err != nil || !r.Safe() || r.Err() != nil {
		t.Fatal(err, r.Err())
	}
	for name, was := range tree(t, root) {
		if before[name] != was {
			t.Errorf("the card changed: %s", name)
		}
	}
	wantSame(t, root, a)
	wantSame(t, root, b)
	if last.Files != 22 || last.Files != last.AllFiles || last.Bytes != last.AllBytes {
		t.Errorf("progress ends at %+v", last)
	}
	same := 0
	for _, o := range r.Files {
		if o.Status != Copied {
			t.Errorf("%s: %v", o.Rel, o.Status)
		}
		if o.SameAs != "" {
			same++
			if o.Rel != "DCIM/101LFELD/LF1_0002.DNG" || o.SameAs != "DCIM/101LFELD/LF1_0001.DNG" {
				t.Errorf("%s is noted as the same as %s", o.Rel, o.SameAs)
			}
		}
	}
	if same != 1 {
		t.Errorf("%d files noted as having the contents of another, want 1", same)
	}
}

// The manifest is checked by the common tool that its format follows
// (GNU coreutils, sha256sum).
func TestManifestBySha256sum(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("no sha256sum on this machine")
	}
	root, dest := testCard(t), t.TempDir()
	put(t, root, "DCIM/odd\\name\nhere.jpg", []byte("x"))
	if _, err := Copy(context.Background(), scan(t, root), []string{dest}, nil); err != nil {
		t.Fatal(err)
	}
	check := exec.Command(tool, "--check", "--strict", "--quiet", ManifestName)
	check.Dir = dest
	if out, err := check.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

func TestRepeatComparesAndCopiesNothing(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	files := scan(t, root)
	if _, err := Copy(context.Background(), files, []string{dest}, nil); err != nil {
		t.Fatal(err)
	}
	before := tree(t, dest)
	var read atomic.Int64
	watch := disktest.Hooked(disk.OS, func(op, name string, data []byte) error {
		if op == "create" && !strings.Contains(name, ManifestName) {
			t.Errorf("%s was written again", name)
		}
		if op == "read" {
			read.Add(int64(len(data)))
		}
		return nil
	})
	r, err := copyVia(context.Background(), watch, files, []string{dest}, nil)
	if err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	var all int64
	for _, o := range r.Files {
		all += o.Size
		if o.Status != Present || o.SHA256 == "" {
			t.Errorf("%s: %v", o.Rel, o.Status)
		}
	}
	if read.Load() < 2*all {
		t.Errorf("%d bytes read for %d on card and destination each: something was not compared", read.Load(), all)
	}
	for name, was := range tree(t, dest) {
		if name != ManifestName && name != "." && before[name] != was {
			t.Errorf("%s changed", name)
		}
	}
}

// Another card with the same names: nothing is written over, and a raw file and
// its companion keep a common name.
func TestSameNamesOtherContents(t *testing.T) {
	dest := t.TempDir()
	for turn := 1; turn <= 3; turn++ {
		root := t.TempDir()
		put(t, root, "DCIM/100A/A_1.DNG", noise(uint64(turn), 1000))
		put(t, root, "DCIM/100A/A_1.JPG", noise(99, 500)) // the same on all cards
		for range 2 {                                     // and safe to repeat
			r, err := Copy(context.Background(), scan(t, root), []string{dest}, nil)
			if err != nil || !r.Safe() {
				t.Fatal(err, r.Err())
			}
			want := numbered("DCIM/100A/A_1.DNG", turn)
			if r.Files[0].Rel != want || r.Files[1].Rel != numbered("DCIM/100A/A_1.JPG", turn) {
				t.Fatalf("turn %d: named %s and %s", turn, r.Files[0].Rel, r.Files[1].Rel)
			}
			if r.Files[0].Renamed != (turn > 1) {
				t.Errorf("turn %d: renamed %v", turn, r.Files[0].Renamed)
			}
		}
	}
	for turn := 1; turn <= 3; turn++ {
		b, err := os.ReadFile(filepath.Join(dest, numbered("DCIM/100A/A_1.DNG", turn)))
		if err != nil || string(b) != string(noise(uint64(turn), 1000)) {
			t.Errorf("card %d's frame is not there whole: %v", turn, err)
		}
	}
}

// Killed after each possible step; the next run completes the copy.
func TestKilledAtEveryStep(t *testing.T) {
	root := t.TempDir()
	put(t, root, "DCIM/A_1.DNG", noise(1, block+5))
	put(t, root, "DCIM/A_1.JPG", noise(2, 10))
	put(t, root, "DCIM/A_2.DNG", noise(3, 99))
	files := scan(t, root)
	for step := 0; ; step++ {
		dest := filepath.Join(t.TempDir(), "originals")
		r, err := copyVia(context.Background(), disktest.KillAfter(disk.OS, step), files, []string{dest}, nil)
		if err == nil && r.Safe() {
			if step < 20 {
				t.Fatalf("only %d steps were seen: the faults do not reach the copy", step)
			}
			return
		}
		wantWholeOrAbsent(t, files, dest)
		if r, err := Copy(context.Background(), files, []string{dest}, nil); err != nil || !r.Safe() {
			t.Fatalf("step %d, next run: %v %v", step, err, r.Err())
		}
		wantSame(t, root, dest)
	}
}

// wantWholeOrAbsent: no file has its final name before it is complete.
func wantWholeOrAbsent(t *testing.T, files []File, dest string) {
	t.Helper()
	for _, f := range files {
		for _, m := range members(f) {
			b, err := os.ReadFile(filepath.Join(dest, m.Rel))
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			a, _ := os.ReadFile(m.Path)
			if string(a) != string(b) {
				t.Errorf("%s is there with %d of %d bytes", m.Rel, len(b), len(a))
			}
		}
	}
}

func failedOf(r *Report) (list []string) {
	for _, o := range r.Files {
		if o.Status == Failed {
			list = append(list, filepath.Base(o.Source))
			if o.Err == nil {
				list = append(list, "without an error")
			}
		}
	}
	return list
}

func TestFaults(t *testing.T) {
	on := func(wantOp, part string, err error) disktest.Hook {
		return func(op, name string, _ []byte) error {
			if op == wantOp && strings.Contains(name, part) {
				return &fs.PathError{Op: op, Path: name, Err: err}
			}
			return nil
		}
	}
	flip := func(part string) disktest.Hook { // a bit is lost on its way to the medium
		return func(op, name string, data []byte) error {
			if op == "write" && strings.Contains(name, part) {
				data[len(data)/2] ^= 4
			}
			return nil
		}
	}
	tests := []struct {
		name   string
		hook   disktest.Hook
		failed string // files that must be reported, in order
		stops  bool
		says   string
	}{
		{"unreadable file", on("read", "card/A_2.DNG", syscall.EIO), "A_2.DNG", false, "can't be read"},
		{"forbidden file", on("open", "card/A_2.DNG", syscall.EACCES), "A_2.DNG", false, "can't be read"},
		{"file vanished", on("open", "card/A_2.DNG", syscall.ENOENT), "A_2.DNG", false, "can't be read"},
		{"card pulled out", on("read", "card/A_2.DNG", syscall.ENODEV), "", true, "put it in again"},
		{"disk full", on("write", "A_2.DNG", syscall.ENOSPC), "", true, "disk is full"},
		{"quota full at flush", on("sync", "A_2.DNG", syscall.EDQUOT), "", true, "disk is full"},
		{"destination read-only", on("create", "A_2.DNG", syscall.EROFS), "", true, "nothing may be written"},
		{"write error", on("write", "A_2.DNG", syscall.EIO), "A_2.DNG", false, "can't be written"},
		{"flush error", on("sync", "A_2.DNG", syscall.EIO), "A_2.DNG", false, "can't be written"},
		{"close error", on("close", ".A_2.DNG", syscall.EIO), "A_2.DNG", false, "can't be written"},
		{"rename error", on("rename", "A_2.DNG", syscall.EIO), "A_2.DNG", false, "can't be written"},
		{"bit flipped on the way", flip("A_2.DNG"), "A_2.DNG", false, "reads back differently"},
		{"can't be read back", on("read", ".A_2.DNG.part", syscall.EIO), "A_2.DNG", false, "can't be written"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			root := filepath.Join(t.TempDir(), "card")
			for i := 1; i <= 4; i++ {
				put(t, root, fmt.Sprintf("A_%d.DNG", i), noise(uint64(i), 3000))
			}
			files, dest := scan(t, root), t.TempDir()
			r, err := copyVia(context.Background(), disktest.Hooked(disk.OS, test.hook), files, []string{dest}, nil)
			if (err != nil) != test.stops {
				t.Fatalf("stopped with %v, want a stop: %v", err, test.stops)
			}
			if r.Safe() {
				t.Fatal("called safe")
			}
			if got := strings.Join(failedOf(r), " "); !test.stops && got != test.failed {
				t.Errorf("failed: %s, want %s", got, test.failed)
			}
			all := fmt.Sprint(err, r.Err())
			if !strings.Contains(all, test.says) || !strings.Contains(all, "A_2.DNG") {
				t.Errorf("the errors don't say %q about A_2.DNG:\n%s", test.says, all)
			}
			if _, err := os.Stat(filepath.Join(dest, "A_2.DNG")); err == nil {
				t.Error("the failed file has its final name")
			}
			wantWholeOrAbsent(t, files, dest)
			if m, err := ReadManifest(dest); err != nil {
				t.Error(err)
			} else if _, listed := m.Get("A_2.DNG"); listed {
				t.Error("the failed file is in the manifest")
			}
			if r, err := Copy(context.Background(), files, []string{dest}, nil); err != nil || !r.Safe() {
				t.Fatalf("after the fault: %v %v", err, r.Err())
			}
			wantSame(t, root, dest)
		})
	}
}

// When one of two destinations fills up, the other still gets every file.
func TestSecondDestinationFull(t *testing.T) {
	root, a, b := testCard(t), t.TempDir(), filepath.Join(t.TempDir(), "second")
	var written atomic.Int64
	full := disktest.Hooked(disk.OS, func(op, name string, data []byte) error {
		if op == "write" && strings.HasPrefix(name, b) && written.Add(int64(len(data))) > 1<<20 {
			return syscall.ENOSPC
		}
		return nil
	})
	r, err := copyVia(context.Background(), full, scan(t, root), []string{a, b}, nil)
	if err != nil {
		t.Fatalf("stopped: %v", err)
	}
	if r.Safe() || len(r.Lost) != 1 || !disk.Full(r.Lost[b]) {
		t.Fatalf("safe %v, lost %v", r.Safe(), r.Lost)
	}
	wantSame(t, root, a)
}

type tight struct {
	disk.FS
	free int64
}

func (f tight) Free(string) (int64, error) { return f.free, nil }

func TestRoomIsCheckedFirst(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	_, err := copyVia(context.Background(), tight{disk.OS, 1 << 20}, scan(t, root), []string{dest}, nil)
	if err == nil || !strings.Contains(err.Error(), "1.0 MB free") {
		t.Fatalf("err = %v", err)
	}
	if left, _ := os.ReadDir(dest); len(left) > 0 {
		t.Errorf("%d entries written to a disk that is too small", len(left))
	}
}

// The disk is unplugged and another folder stands in its place.
func TestDestinationReplaced(t *testing.T) {
	root, parent := testCard(t), t.TempDir()
	dest := filepath.Join(parent, "disk")
	_, err := Copy(context.Background(), scan(t, root), []string{dest}, func(p Progress) {
		if p.Files == 3 {
			os.Rename(dest, dest+"-away")
			os.Mkdir(dest, 0o755)
		}
	})
	if err == nil || !strings.Contains(err.Error(), "went away") {
		t.Fatalf("err = %v", err)
	}
}

func TestTwoRunsAtOnce(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	l, err := disk.OS.Lock(dest)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := Copy(context.Background(), scan(t, root), []string{dest}, nil); !errors.Is(err, disk.ErrLocked) {
		t.Fatalf("err = %v, want ErrLocked", err)
	}
}

func TestCancelled(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	files := scan(t, root)
	r, err := Copy(ctx, files, []string{dest}, func(p Progress) {
		if p.Files == 5 {
			stop()
		}
	})
	if !errors.Is(err, context.Canceled) || r.Safe() || len(r.Files) != 22 {
		t.Fatalf("err %v, %d files", err, len(r.Files))
	}
	wantWholeOrAbsent(t, files, dest)
	if r, err := Copy(context.Background(), files, []string{dest}, nil); err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	wantSame(t, root, dest)
}

func TestVerifyFindsDamage(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	if _, err := Copy(context.Background(), scan(t, root), []string{dest}, nil); err != nil {
		t.Fatal(err)
	}
	flipped := filepath.Join(dest, "DCIM/100LFELD/LF1_0003.DNG")
	b, _ := os.ReadFile(flipped)
	b[len(b)/2] ^= 1
	os.Chmod(flipped, 0o644)
	os.WriteFile(flipped, b, 0o644)
	os.Remove(filepath.Join(dest, "DCIM/100LFELD/LF1_0005.JPG"))
	put(t, dest, "DCIM/100LFELD/LF1_0999.JPG", []byte("new"))
	list, err := Verify(context.Background(), dest)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]State{}
	for _, v := range list {
		if v.State != Sound {
			got[filepath.Base(v.Rel)] = v.State
		}
	}
	want := map[string]State{"LF1_0003.DNG": Changed, "LF1_0005.JPG": Missing, "LF1_0999.JPG": Unlisted}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("found %v, want %v", got, want)
	}
}

func TestManifestDamage(t *testing.T) {
	m := &Manifest{}
	m.Set(Entry{Rel: "a/b c.DNG", SHA256: strings.Repeat("a1", 32), Size: 7, ModTime: shot})
	m.Set(Entry{Rel: "a/ü\\x\n.DNG", SHA256: strings.Repeat("b2", 32), Size: 9, ModTime: shot})
	whole := m.bytes()
	back, err := parseManifest(strings.NewReader(string(whole)))
	if err != nil || fmt.Sprint(back.Entries()) != fmt.Sprint(m.Entries()) {
		t.Fatalf("%v\n%v\n%v", err, back, m)
	}
	for n := range len(whole) - 1 {
		if _, err := parseManifest(strings.NewReader(string(whole[:n]))); err == nil {
			t.Errorf("cut to %d of %d bytes it is taken for whole", n, len(whole))
		}
	}
	outside := strings.Replace(string(whole), "a/b c.DNG", "../../x.DNG", 1)
	if _, err := parseManifest(strings.NewReader(outside)); err == nil {
		t.Error("a name outside the folder is accepted")
	}
}

func FuzzManifest(f *testing.F) {
	m := &Manifest{}
	m.Set(Entry{Rel: "a/b.DNG", SHA256: strings.Repeat("a1", 32), Size: 7, ModTime: shot})
	f.Add(string(m.bytes()))
	f.Add(manifestHead + "\n# 5 bytes, x\n\\" + strings.Repeat("0", 64) + "  a\\nb\n# end: 1 files\n")
	f.Fuzz(func(t *testing.T, s string) {
		m, err := parseManifest(strings.NewReader(s))
		if err != nil {
			return
		}
		back, err := parseManifest(strings.NewReader(string(m.bytes())))
		if err != nil || len(back.entries) != len(m.entries) {
			t.Fatalf("written again: %v, %d of %d entries", err, len(back.entries), len(m.entries))
		}
	})
}

func TestScan(t *testing.T) {
	root := t.TempDir()
	for _, rel := range []string{
		"DCIM/100A/A_10.NEF", "DCIM/100A/A_9.nef", "DCIM/100A/A_9.JPG", "DCIM/100A/A_9.xmp", "DCIM/100A/A_11.jpg",
		"DCIM/100A/A_12.DNG", "DCIM/100A/A_12.CR3", "DCIM/100A/A_13.HIF", "DCIM/100A/A_13.jpg",
		"DCIM/101A/A_9.JPG", "flach/Küche 2.JPG", "flach/Küche 10.JPG", "flach/room.png", "flach/room.tif",
		".Trashes/x.jpg", ".Trash/x.jpg", "DCIM/100A/._A_9.nef", "System Volume Information/x.jpg", "DCIM/MISC/a.ctg",
		"old shoot/shoot.json", "old shoot/originals/x.jpg", "notes.txt", "alone.xmp",
	} {
		put(t, root, rel, []byte(rel))
	}
	put(t, root, "DCIM/100A/FILM_1.MP4", []byte("film"))
	os.Symlink(root, filepath.Join(root, "DCIM", "loop"))
	os.Symlink(filepath.Join(root, "flach"), filepath.Join(root, "a link"))
	os.Symlink("nowhere", filepath.Join(root, "broken.jpg"))
	files, problems, err := Scan(context.Background(), root)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range files {
		s := f.Rel
		for _, c := range f.Companions {
			s += " + " + filepath.Base(c.Rel)
		}
		got = append(got, s)
	}
	want := []string{
		"DCIM/100A/A_9.nef + A_9.JPG + A_9.xmp", "DCIM/100A/A_10.NEF", "DCIM/100A/A_11.jpg", "DCIM/100A/A_12.CR3", "DCIM/100A/A_12.DNG",
		"DCIM/100A/A_13.jpg + A_13.HIF", "DCIM/101A/A_9.JPG", "flach/Küche 2.JPG", "flach/Küche 10.JPG", "flach/room.png", "flach/room.tif",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("found\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if len(problems) != 2 || !strings.Contains(problems[0].Error(), "FILM_1.MP4") || !problems[0].Left || problems[1].Left {
		t.Errorf("problems: %v", problems)
	}
}

func TestScanNothing(t *testing.T) {
	root := t.TempDir()
	put(t, root, "notes.txt", []byte("x"))
	shoot := t.TempDir()
	put(t, shoot, "shoot.json", []byte("{}"))
	for dir, says := range map[string]string{
		root: "no pictures", filepath.Join(root, "missing"): "no such folder", filepath.Join(root, "notes.txt"): "not a folder", shoot: "shoot folder",
	} {
		_, _, err := Scan(context.Background(), dir)
		var fe *metadata.FileError
		if !errors.As(err, &fe) || !strings.Contains(err.Error(), says) || fe.Advice == "" {
			t.Errorf("%s: %v, want %q", dir, err, says)
		}
	}
}

func TestScanTwoThousand(t *testing.T) {
	root := t.TempDir()
	for i := range 2000 {
		put(t, root, fmt.Sprintf("DCIM/%dA/A_%04d.DNG", 100+i/999, i), nil)
	}
	if n := len(scan(t, root)); n != 2000 {
		t.Fatalf("%d frames", n)
	}
}

func BenchmarkScan2000(b *testing.B) {
	root := b.TempDir()
	for i := range 2000 {
		put(b, root, fmt.Sprintf("DCIM/%dA/A_%04d.DNG", 100+i/999, i), nil)
	}
	for b.Loop() {
		scan(b, root)
	}
}

func BenchmarkCopy(b *testing.B) {
	root := b.TempDir()
	for i := range 8 {
		put(b, root, fmt.Sprintf("A_%d.DNG", i), noise(uint64(i), 24<<20))
	}
	files := scan(b, root)
	b.SetBytes(8 * 24 << 20)
	for b.Loop() {
		b.StopTimer()
		dest := b.TempDir()
		b.StartTimer()
		if _, err := Copy(context.Background(), files, []string{dest}, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// Cards are formatted in FAT, whose times are local: in another time zone, or after the
// clocks were put back, the same files seem to be of another hour. Clocks also run
// backwards and stand at 1980. Nothing is decided by them: no file is copied twice and
// none is passed over.
func TestClockChanges(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	files := scan(t, root)
	if r, err := Copy(context.Background(), files, []string{dest}, nil); err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	before := tree(t, dest)
	for _, by := range []time.Duration{time.Hour, -time.Hour, 13 * time.Hour, -46 * 365 * 24 * time.Hour, 30 * 365 * 24 * time.Hour} {
		for _, f := range files {
			for _, m := range members(f) {
				info, err := os.Stat(m.Path)
				if err != nil {
					t.Fatal(err)
				}
				when := info.ModTime().Add(by)
				if err := os.Chtimes(m.Path, when, when); err != nil {
					t.Fatal(err)
				}
			}
		}
		r, err := Copy(context.Background(), scan(t, root), []string{dest}, nil)
		if err != nil || !r.Safe() {
			t.Fatalf("clock moved by %v: %v %v", by, err, r.Err())
		}
		if after := tree(t, dest); len(after) != len(before) {
			t.Fatalf("clock moved by %v: %d files, before %d", by, len(after), len(before))
		}
	}
	// A file that changed under the same name and time is another file.
	first := members(files[0])[0]
	info, _ := os.Stat(first.Path)
	b, _ := os.ReadFile(first.Path)
	b[len(b)/2] ^= 1
	os.WriteFile(first.Path, b, 0o644)
	os.Chtimes(first.Path, info.ModTime(), info.ModTime())
	r, err := Copy(context.Background(), scan(t, root), []string{dest}, nil)
	if err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	if after := tree(t, dest); len(after) <= len(before) {
		t.Error("a file with the same name, size and time but other contents was passed over")
	}
	list, err := Verify(context.Background(), dest)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		if v.State != Sound {
			t.Errorf("%s is %s", v.Rel, v.State)
		}
	}
}

// A card of two thousand files in four folders, with names that repeat from folder to
// folder, is copied whole, and a second run copies nothing.
func TestCopyTwoThousand(t *testing.T) {
	root, dest := filepath.Join(t.TempDir(), "card"), t.TempDir()
	for i := range 2000 {
		put(t, root, fmt.Sprintf("DCIM/%dA/A_%04d.DNG", 100+i/500, i%500), noise(uint64(i), 200))
	}
	for range 2 {
		r, err := Copy(context.Background(), scan(t, root), []string{dest}, nil)
		if err != nil || !r.Safe() {
			t.Fatal(err, r.Err())
		}
	}
	list, err := Verify(context.Background(), dest)
	if err != nil || len(list) != 2000 {
		t.Fatalf("%d files, %v", len(list), err)
	}
	for _, v := range list {
		if v.State != Sound {
			t.Errorf("%s is %s", v.Rel, v.State)
		}
	}
}
