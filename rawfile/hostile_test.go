package rawfile

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"mullion/metadata"
	"mullion/rawfile/apart"
)

// A camera file comes from outside: what it does to its decoder must stay there.

// seeds are sound files to be spoiled: ours, and the real ones where there are any.
func seeds(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{
		"a.dng": simulated(t, 96, 64, noisy(96, 64), false),
		"b.dng": simulated(t, 96, 64, noisy(96, 64), true),
	}
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		return out
	}
	for _, sub := range []string{"decodes", "truncated"} {
		list, err := os.ReadDir(filepath.Join(dir, "realdata", "raw", sub))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if !IsRaw(e.Name()) {
				continue
			}
			data, err := os.ReadFile(filepath.Join(dir, "realdata", "raw", sub, e.Name()))
			if err != nil {
				t.Fatal(err)
			}
			out[e.Name()] = data
		}
	}
	return out
}

// spoiled changes a file as a bad card, a bad cable or a bad person would.
func spoiled(rng *rand.Rand, data []byte) []byte {
	d := slices.Clone(data)
	head := min(len(d), 4096) // where the directories are
	for range 1 + rng.IntN(4) {
		switch rng.IntN(7) {
		case 0: // one bit
			d[rng.IntN(len(d))] ^= 1 << rng.IntN(8)
		case 1: // one byte of the directories
			d[rng.IntN(head)] = byte(rng.Uint32())
		case 2: // a number of the directories becomes huge, or nothing
			at := rng.IntN(max(1, head-4))
			copy(d[at:], binary.LittleEndian.AppendUint32(nil, []uint32{0, 1, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, rng.Uint32()}[rng.IntN(6)]))
		case 3: // a block is zeros
			at := rng.IntN(len(d))
			clear(d[at:min(len(d), at+512)])
		case 4: // a block is noise
			at := rng.IntN(len(d))
			for i := range d[at:min(len(d), at+512)] {
				d[at+i] = byte(rng.Uint32())
			}
		case 5: // the end is missing
			d = d[:1+rng.IntN(len(d))]
			head = min(len(d), head)
		case 6: // a block stands in another's place
			from, to := rng.IntN(len(d)), rng.IntN(len(d))
			copy(d[to:], d[from:min(len(d), from+512)])
		}
	}
	return d
}

// Spoiled copies of raw files, 200 of them or as many as MULLION_SPOILED says (make
// torture: 10,000), never end or hang this process: each gives a frame that is sound in
// form, or one error that names the file.
func TestSpoiledFiles(t *testing.T) {
	n := 200
	if v, err := strconv.Atoi(os.Getenv("MULLION_SPOILED")); err == nil && v > 0 {
		n = v
	}
	files := seeds(t)
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	decoded, refused, broken := 0, 0, map[string]int{}
	for i := range n {
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		name := names[i%len(names)]
		data := spoiled(rng, files[name])
		path := strconv.Itoa(i) + "-" + name
		begin := time.Now()
		f, err := DecodeBytes(t.Context(), path, data)
		if d := time.Since(begin); d > apart.MaxWait+time.Minute {
			t.Errorf("%s took %v", path, d)
		}
		if err == nil {
			decoded++
			wantFormed(t, path, f)
			f.Release()
			continue
		}
		refused++
		var fe *metadata.FileError
		if !errors.As(err, &fe) || fe.Path != path || fe.Problem == "" || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", path, err)
		}
		var b *apart.Broken
		if errors.As(err, &b) {
			broken[b.Why]++
		}
		if i%10 == 0 {
			_, err := Thumb(t.Context(), filepath.Join(t.TempDir(), "none.dng"), 64)
			if err == nil {
				t.Error("a missing file has a small picture")
			}
		}
	}
	t.Logf("%d spoiled files: %d decoded, %d refused, of which these broke their decoder: %v", n, decoded, refused, broken)
}

func wantFormed(t *testing.T, path string, f *Frame) {
	t.Helper()
	switch {
	case f.Mosaic != nil:
		m := f.Mosaic
		if len(m.Pix) != m.W*m.H || m.W < 2 || m.H < 2 || !(m.White > 0) {
			t.Errorf("%s: mosaic %dx%d of %d samples, white %v", path, m.W, m.H, len(m.Pix), m.White)
		}
	case f.RGB != nil:
		if f.RGB.W() < 2 || f.RGB.H() < 2 {
			t.Errorf("%s: %dx%d", path, f.RGB.W(), f.RGB.H())
		}
	case f.Coded != nil:
		if f.Coded.RGB.W() < 2 {
			t.Errorf("%s: no pixels", path)
		}
	default:
		t.Errorf("%s: no error and no picture", path)
	}
}

// A decoder that dies is one clear line about one file, and the next file decodes.
func TestDecoderDies(t *testing.T) {
	if _, err := apart.Start(t.Context()); errors.Is(err, apart.ErrNone) {
		t.Skip("no process apart on this system")
	}
	sound := simulated(t, 96, 64, noisy(96, 64), false)
	job, err := apart.Start(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	h := here{"x.dng", job.In()[:copy(job.In(), sound)], job}
	_, err = h.ask(t.Context(), order{Task: "die"})
	job.Close()
	if err == nil || !strings.Contains(err.Error(), "x.dng: damaged") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
	if f, err := DecodeBytes(t.Context(), "y.dng", sound); err != nil || f.Mosaic == nil {
		t.Errorf("after it: %v", err)
	}
}

// The same samples and numbers come out of the process apart and of this one.
func TestApartIsTheSame(t *testing.T) {
	for name, data := range seeds(t) {
		a, errA := DecodeBytes(t.Context(), name, data)
		b, errB := decodeHere(context.Background(), name, data)
		if (errA == nil) != (errB == nil) {
			t.Errorf("%s: %v and %v", name, errA, errB)
			continue
		}
		if errA != nil {
			if errA.Error() != errB.Error() {
				t.Errorf("%s: %v and %v", name, errA, errB)
			}
			continue
		}
		if a.Kind != b.Kind || a.Camera != b.Camera || !a.Info.Time.Equal(b.Info.Time) {
			t.Errorf("%s: %+v and %+v", name, a.Info, b.Info)
		}
		a.Info.Time, b.Info.Time = time.Time{}, time.Time{}
		if a.Info != b.Info {
			t.Errorf("%s: %+v and %+v", name, a.Info, b.Info)
		}
		if a.Mosaic != nil && !slices.Equal(a.Mosaic.Pix, b.Mosaic.Pix) {
			t.Errorf("%s: other samples", name)
		}
		if a.RGB != nil && (!slices.Equal(a.RGB[0].Pix, b.RGB[0].Pix) || !slices.Equal(a.RGB[2].Pix, b.RGB[2].Pix)) {
			t.Errorf("%s: other pixels", name)
		}
	}
}

// Headers that claim more than any camera has are refused before room is made.
func TestAbsurdDimensions(t *testing.T) {
	for _, u := range []unpacked{{W: 1 << 16, H: 1 << 16}, {W: 1, H: 100}, {W: -5, H: 5}, {W: 100, H: 100, Form: 7}, {W: 100, H: 100}} {
		if u.check() == nil {
			t.Errorf("%d x %d of form %d passed", u.W, u.H, u.Form)
		}
	}
	// A bomb: ten thousand times ten thousand black pixels in a hundred kilobytes.
	m := image.NewPaletted(image.Rect(0, 0, 10000, 10000), color.Palette{color.Black, color.White})
	bomb := encoded(t, m, func(b *bytes.Buffer) error { return png.Encode(b, m) })
	_, err := DecodeBytes(t.Context(), "bomb.png", bomb)
	var fe *metadata.FileError
	if !errors.As(err, &fe) || !strings.Contains(err.Error(), "10000 x 10000") {
		t.Errorf("%d bytes: %v", len(bomb), err)
	}
}
