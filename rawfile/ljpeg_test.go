package rawfile

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"mullion/metadata/ifd"
)

// packedPart is the lossless JPEG the simulated camera makes of a mosaic.
func packedPart(t testing.TB, w, h int, pix []uint16) []byte {
	t.Helper()
	b := simulated(t, w, h, pix, false)
	dirs, err := ifd.Read(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	for i := range dirs {
		if number(&dirs[i], tagCompression, 0) == compressionJPEG {
			o, n := number(&dirs[i], tagStripOffsets, 0), number(&dirs[i], tagStripCounts, 0)
			return b[o : o+n]
		}
	}
	t.Fatal("the simulated camera packs no more")
	return nil
}

// Tiles that hang over the right and the lower edge, each packed for itself; and
// LibRaw, the independent reader, agrees.
func TestPackedTiles(t *testing.T) {
	const w, h, tw, th = 200, 160, 96, 64
	pix := noisy(w, h)
	d := newDNG(w, h)
	for _, tag := range []uint16{tagStripOffsets, tagStripCounts, tagRowsPerStrip} {
		delete(d, tag)
	}
	d.set(tagCompression, short, compressionJPEG)
	d.set(tagTileWidth, long, tw)
	d.set(tagTileHeight, long, th)
	var parts []byte
	var at, count []float64
	for y := 0; y < h; y += th {
		for x := 0; x < w; x += tw {
			tile := make([]uint16, tw*th)
			for k := range tile {
				tile[k] = pix[min(y+k/tw, h-1)*w+min(x+k%tw, w-1)]
			}
			p := packedPart(t, tw, th, tile)
			at, count = append(at, float64(len(parts))), append(count, float64(len(p)))
			parts = append(parts, p...)
		}
	}
	d.set(tagTileCounts, long, count...)
	d.set(tagTileOffsets, long, at...)
	base := float64(len(d.file(nil)))
	for i := range at {
		at[i] += base
	}
	d.set(tagTileOffsets, long, at...)
	b := append(d.file(nil), parts...)
	f, err := DecodeBytes(bg, "tiles.dng", b)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(f.Mosaic.Pix, pix) {
		t.Error("the tiles are not where they belong")
	}
	sameAsLibRaw(t, b, true)
}

// sameAsLibRaw compares our decoder's samples with LibRaw's.
func sameAsLibRaw(t *testing.T, b []byte, must bool) {
	t.Helper()
	l, err := openLibrary(b)
	if err != nil {
		t.Fatal(err)
	}
	defer l.close()
	s := l.sensor()
	dirs, _ := ifd.Read(bytes.NewReader(b))
	d := newDNGTags(dirs).packed(s)
	if d == nil {
		if must {
			t.Error("not decoded by us")
		}
		return
	}
	ours, err := unpackTiles(bg, b, d, s.rawW, s.rawH)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.unpack(bg); err != nil {
		t.Fatal(err)
	}
	s = l.sensor()
	theirs, err := l.samples(s)
	if err != nil {
		t.Fatal(err)
	}
	for y := range s.rawH {
		if !slices.Equal(ours[y*s.rawW:(y+1)*s.rawW], theirs[y*s.pitch:y*s.pitch+s.rawW]) {
			t.Fatalf("row %d differs", y)
		}
	}
}

func TestSamplesAgreeWithLibRaw(t *testing.T) {
	pix := noisy(322, 214)
	for i := range pix { // differences of every size, the largest among them
		if i%97 == 0 {
			pix[i] = 0
		} else if i%101 == 0 {
			pix[i] = 16383
		}
	}
	sameAsLibRaw(t, simulated(t, 322, 214, pix, false), true)
	b, err := os.ReadFile(filepath.Join(testdata(t, "raw/decodes"), "colorchart.dng"))
	if err != nil {
		t.Fatal(err)
	}
	sameAsLibRaw(t, b, false)
}

func FuzzLosslessJPEG(f *testing.F) {
	f.Add(packedPart(f, 40, 30, noisy(40, 30)))
	f.Fuzz(func(t *testing.T, b []byte) {
		j, err := parseLJPEG(b)
		if err != nil || j.w*j.n*j.h > 1<<20 {
			return
		}
		err = j.decode(make([]uint16, j.w*j.n*j.h), j.w*j.n)
		if err != nil && !errors.Is(err, errLJPEGShort) && !errors.Is(err, errLJPEGWrong) {
			t.Fatal(err)
		}
	})
}
