package tifffile

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
)

func sample(w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for c := range m {
		for y := range h {
			for x := range m[c].Row(y) {
				m[c].Row(y)[x] = float32(math.Exp2(float64(x-y))) * float32(c+1)
			}
		}
	}
	return m
}

// TestRoundTrip reads the file back by the letter of TIFF 6.0: every value where its
// tag says, over several strips and with a short last one.
func TestRoundTrip(t *testing.T) {
	m := sample(37, 150)
	path := filepath.Join(t.TempDir(), "a.tif")
	if err := Write(context.Background(), path, m, Header{Description: "odd", Software: "s", Profile: []byte("12345")}); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	tags := readTags(t, b)
	if w, h := tags[256][0], tags[257][0]; w != 37 || h != 150 {
		t.Fatalf("%d x %d", w, h)
	}
	if got := len(tags[273]); got != 3 {
		t.Fatalf("%d strips, want 3", got)
	}
	y := 0
	for i, off := range tags[273] {
		for n := 0; n < int(tags[279][i])/(37*12); n++ {
			for x := range 37 {
				for c := range 3 {
					o := int(off) + ((n*37+x)*3+c)*4
					got := math.Float32frombits(binary.LittleEndian.Uint32(b[o:]))
					if want := m[c].Row(y)[x]; got != want {
						t.Fatalf("channel %d at %d,%d: %g, want %g", c, x, y, got, want)
					}
				}
			}
			y++
		}
	}
	if y != 150 {
		t.Errorf("%d rows, want 150", y)
	}
	last := int(tags[273][2]) + int(tags[279][2])
	if last != len(b) {
		t.Errorf("the last strip ends at %d of %d bytes", last, len(b))
	}
}

// readTags reads short and long values of the first directory.
func readTags(t *testing.T, b []byte) map[int][]uint32 {
	le := binary.LittleEndian
	out := map[int][]uint32{}
	dir := int(le.Uint32(b[4:]))
	previous := 0
	for i := range int(le.Uint16(b[dir:])) {
		e := b[dir+2+12*i:]
		tag, kind, n := int(le.Uint16(e)), le.Uint16(e[2:]), int(le.Uint32(e[4:]))
		if tag <= previous {
			t.Errorf("tag %d after %d: they must rise", tag, previous)
		}
		previous = tag
		size := map[uint16]int{typeShort: 2, typeLong: 4}[kind]
		if size == 0 {
			continue
		}
		v := e[8:]
		if n*size > 4 {
			v = b[le.Uint32(e[8:]):]
		}
		for j := range n {
			if size == 2 {
				out[tag] = append(out[tag], uint32(le.Uint16(v[2*j:])))
			} else {
				out[tag] = append(out[tag], le.Uint32(v[4*j:]))
			}
		}
	}
	return out
}

// TestOutsideReader asks exiftool what it sees.
func TestOutsideReader(t *testing.T) {
	if _, err := exec.LookPath("exiftool"); err != nil {
		t.Skip("exiftool is not installed")
	}
	path := filepath.Join(t.TempDir(), "räum 1.tif")
	if err := Write(context.Background(), path, sample(20, 10), Header{Description: "1.0 = 100 cd/m2", Software: "Mullion"}); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("exiftool", "-j", "-n", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got []map[string]any
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	for tag, want := range map[string]any{
		"ImageWidth": 20., "ImageHeight": 10., "BitsPerSample": "32 32 32", "SampleFormat": "3 3 3",
		"ImageDescription": "1.0 = 100 cd/m2", "Software": "Mullion", "Orientation": 1.,
	} {
		if got[0][tag] != want {
			t.Errorf("%s: %v, want %v", tag, got[0][tag], want)
		}
	}
	if w := got[0]["Warning"]; w != nil {
		t.Errorf("exiftool warns: %v", w)
	}
}

// TestNothingHalfWritten: a write that fails or is stopped leaves no file.
func TestNothingHalfWritten(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := Write(ctx, filepath.Join(dir, "a.tif"), sample(8, 8), Header{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	if err := Write(context.Background(), filepath.Join(dir, "no", "a.tif"), sample(8, 8), Header{}); err == nil {
		t.Error("a folder that isn't there was written to")
	}
	left, _ := os.ReadDir(dir)
	if len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}
