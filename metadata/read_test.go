package metadata

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// testdata returns a folder of the shared data, and skips the test without it.
func testdata(t *testing.T, sub string) string {
	t.Helper()
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("set MULLION_TESTDATA to the folder that holds realdata to run this test")
	}
	return filepath.Join(root, "realdata", sub)
}

func files(t *testing.T, pattern string) []string {
	t.Helper()
	list, err := filepath.Glob(pattern)
	if err != nil || len(list) == 0 {
		t.Fatalf("no files %s", pattern)
	}
	return list
}

// The expected values beside the pictures are exiftool's (version 13.50), from the
// test data of the imagemeta project.
func TestAgreesWithExiftoolRecords(t *testing.T) {
	dir := testdata(t, "metadata")
	n := 0
	for _, sub := range []string{"exposure-rational", "iptc-xmp"} {
		for _, path := range files(t, filepath.Join(dir, sub, "*.jpg")) {
			b, err := os.ReadFile(path + ".json")
			if err != nil {
				continue
			}
			var rec []struct{ File, EXIF map[string]any }
			if err := json.Unmarshal(b, &rec); err != nil || len(rec) != 1 {
				t.Fatalf("%s: %v", path, err)
			}
			info, err := Read(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			compare(t, path, info, rec[0].EXIF)
			if w := rec[0].File["ImageWidth"]; w != nil && int(w.(float64)) != info.Width {
				t.Errorf("%s: width %d, want %v", path, info.Width, w)
			}
			n++
		}
	}
	if n < 15 {
		t.Errorf("only %d records compared", n)
	}
}

// compare checks what exiftool says of a file (numbers, not sentences).
func compare(t *testing.T, path string, info Info, want map[string]any) {
	t.Helper()
	number := func(tag string, got float64, tol float64) {
		t.Helper()
		w, ok := want[tag].(float64)
		if ok && math.Abs(got-w) > tol*math.Max(1e-9, math.Abs(w)) {
			t.Errorf("%s: %s %v, want %v", path, tag, got, w)
		}
	}
	number("ExposureTime", info.Marked, 1e-6)
	number("ISO", info.ISO, 0)
	number("FNumber", info.FNumber, 0.05) // ours is the true value, not the mark
	number("ExposureCompensation", info.Bias, 1e-6)
	number("ExposureMode", float64(info.Mode), 0)
	number("FocalLength", info.FocalMM, 1e-6)
	number("FocalLengthIn35mmFormat", info.Focal35MM, 1e-6)
	number("Orientation", float64(info.Orientation), 0)
	for tag, got := range map[string]string{"Make": info.Make, "Model": info.Model, "LensModel": info.Lens} {
		if w, ok := want[tag].(string); ok && strings.TrimSpace(w) != got {
			t.Errorf("%s: %s %q, want %q", path, tag, got, w)
		}
	}
	if w, ok := want["DateTimeOriginal"].(string); ok && !strings.HasPrefix(w, info.Time.Format("2006:01:02 15:04:05")) {
		t.Errorf("%s: time %v, want %v", path, info.Time, w)
	}
}

// Every camera file against exiftool itself, an independent reader.
func TestAgreesWithExiftool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	dir := testdata(t, "")
	list := files(t, filepath.Join(dir, "metadata/orientation/*.jpg"))
	list = append(list, files(t, filepath.Join(dir, "metadata/cameras/*.jpg"))...)
	list = append(list, files(t, filepath.Join(dir, "raw/truncated/*"))...)
	list = append(list, files(t, filepath.Join(dir, "brackets/*/*.[jJ][pP]*[gG]"))...)
	args := append([]string{"-j", "-n", "-G0", "-EXIF:all", "-api", "QuickTimeUTC"}, list...)
	out, err := exec.Command(tool, args...).Output()
	if err != nil && len(out) == 0 {
		t.Fatal(err)
	}
	var recs []map[string]any
	if err := json.Unmarshal(out, &recs); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, rec := range recs {
		want := map[string]any{}
		for k, v := range rec {
			if tag, ok := strings.CutPrefix(k, "EXIF:"); ok {
				want[tag] = v
			}
		}
		if v, ok := want["Orientation"].(float64); ok && (v < 1 || v > 8) {
			delete(want, "Orientation")
		}
		path := rec["SourceFile"].(string)
		info, err := Read(context.Background(), path)
		if err != nil {
			t.Error(err)
			continue
		}
		if len(want) > 0 {
			seen++
		}
		compare(t, path, info, want)
	}
	if seen < 30 {
		t.Errorf("only %d files with tags compared", seen)
	}
}

func TestOrientationSet(t *testing.T) {
	dir := testdata(t, "metadata/orientation")
	for i := 1; i <= 8; i++ {
		for _, shape := range []string{"landscape", "portrait"} {
			path := filepath.Join(dir, shape+"_"+string(rune('0'+i))+".jpg")
			info, err := Read(context.Background(), path)
			if err != nil || info.Orientation != i {
				t.Errorf("%s: orientation %d, %v", path, info.Orientation, err)
			}
			turned := i >= 5
			if upright := shape == "portrait"; (info.Height > info.Width) != (upright != turned) {
				t.Errorf("%s: stored as %d x %d", path, info.Width, info.Height)
			}
		}
	}
}

// Files other readers choked on: no panic, no hang, nothing absurd.
func TestBrokenExif(t *testing.T) {
	for _, path := range files(t, filepath.Join(testdata(t, "metadata/broken"), "*")) {
		info, err := Read(context.Background(), path)
		if err != nil {
			var fe *FileError
			if !errors.As(err, &fe) {
				t.Errorf("%s: %v is no FileError", path, err)
			}
			continue
		}
		if info.Orientation < 1 || info.Orientation > 8 || info.Seconds < 0 || math.IsNaN(info.Seconds) {
			t.Errorf("%s: %+v", path, info)
		}
	}
}

func TestZeroExposureIsUnknown(t *testing.T) {
	info, err := Read(context.Background(), filepath.Join(testdata(t, "raw/decodes"), "colorchart.dng"))
	if err != nil || info.Seconds != 0 || info.ISO != 0 || info.FNumber != 0 {
		t.Errorf("%+v, %v", info, err)
	}
}

func TestFilesThatAreNoPictures(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct{ content, problem string }{
		"notes.dng":  {"Kitchen: shoot again at dusk.\n", "this is text"},
		"empty.jpg":  {"", "empty (0 bytes)"},
		"zeros.jpg":  {strings.Repeat("\x00", 9000), "only zeros"},
		"wrong.jpg":  {"\x01\x02\x03\x04 not at all", "does not begin like a JPEG"},
		"really.nef": {"\xFF\xD8\xFF\xE0\x00\x10JFIF\x00", "named as a raw file but holds a JPEG"},
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(c.content), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Read(context.Background(), path)
		var fe *FileError
		if !errors.As(err, &fe) || fe.Path != path || !strings.Contains(fe.Problem, c.problem) || fe.Advice == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Read(context.Background(), filepath.Join(dir, "gone.dng")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Read(context.Background(), dir); err == nil {
		t.Error("a folder was read")
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Read(ctx, filepath.Join(dir, "notes.dng")); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// SubSecTimeOriginal is a decimal fraction's digits (CIPA DC-008): "05" is 0.05 s.
func TestParseTime(t *testing.T) {
	for _, c := range []struct {
		date, sub, zone string
		want            string
		hasZone         bool
	}{
		{"2026:05:14 10:42:07", "05", "-05:00", "2026-05-14T10:42:07.05-05:00", true},
		{"2026:05:14 10:42:07", "5", "", "2026-05-14T10:42:07.5Z", false},
		{"2026:05:14 10:42:07", "472", "+05:30", "2026-05-14T10:42:07.472+05:30", true},
		{"2026:05:14 10:42:07", " ", "Z", "2026-05-14T10:42:07Z", false},
		{"2026-05-14T10:42:07", "", "", "2026-05-14T10:42:07Z", false},
	} {
		got, zone, ok := parseTime(c.date, c.sub, c.zone)
		if s := got.Format(time.RFC3339Nano); !ok || s != c.want || zone != c.hasZone {
			t.Errorf("%q %q %q: %s %v %v", c.date, c.sub, c.zone, s, zone, ok)
		}
	}
	for _, bad := range []string{"", "0000:00:00 00:00:00", "    :  :     :  :  ", "2026:13:40 99:99:99"} {
		if _, _, ok := parseTime(bad, "", ""); ok {
			t.Errorf("%q was taken for a time", bad)
		}
	}
}

func TestNames(t *testing.T) {
	for name, want := range map[string][2]bool{
		"LF1_0001.DNG": {true, true}, "a b/Küche.Cr3": {true, true}, "x.jpeg": {true, false}, "x.HEIC": {true, false},
		"._x.dng": {false, false}, "x.txt": {false, false}, "dng": {false, false}, "x.xmp": {false, false},
	} {
		if got := [2]bool{IsFrameName(name), IsRawName(name)}; got != want {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
}

func BenchmarkRead(b *testing.B) {
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		b.Skip("MULLION_TESTDATA is not set")
	}
	path := filepath.Join(root, "realdata/raw/truncated/imagemeta-CR2.exif.cr2")
	for b.Loop() {
		if _, err := Read(context.Background(), path); err != nil {
			b.Fatal(err)
		}
	}
}
