package jpegfile

import (
	"bytes"
	"image/color"
	"image/jpeg"
	"math"
	"testing"
)

func ramp(w, h int) *Image {
	m := NewImage(w, h)
	for y := range h {
		for x := range w {
			i := 3 * (y*w + x)
			m.Pix[i], m.Pix[i+1], m.Pix[i+2] = byte(x*255/w), byte(y*255/h), byte(128+60*math.Sin(float64(x)/9))
		}
	}
	return m
}

func encode(t testing.TB, m *Image, o Options) []byte {
	t.Helper()
	e, err := NewEncoder()
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	b, err := e.Encode(m, o)
	if err != nil {
		t.Fatal(err)
	}
	return bytes.Clone(b)
}

// The standard library's decoder is the independent reader.
func TestEncodeReadByStandardLibrary(t *testing.T) {
	m := ramp(203, 101)
	for _, o := range []Options{{95, Full, false}, {95, Half, false}, {95, Full, true}} {
		data := encode(t, m, o)
		got, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatalf("%v: %v", o, err)
		}
		if b := got.Bounds(); b.Dx() != m.W || b.Dy() != m.H {
			t.Fatalf("%v: size %v", o, b)
		}
		var sum float64
		for y := range m.H {
			for x := range m.W {
				c := color.RGBAModel.Convert(got.At(x, y)).(color.RGBA)
				i := 3 * (y*m.W + x)
				for k, v := range []byte{c.R, c.G, c.B} {
					d := float64(v) - float64(m.Pix[i+k])
					sum += d * d
				}
			}
		}
		limit := 1.0
		if o.Subsampling == Half { // the reader repeats chroma samples, it does not interpolate
			limit = 2
		}
		if rms := math.Sqrt(sum / float64(len(m.Pix))); rms > limit {
			t.Errorf("%v: RMS error %.2f codes", o, rms)
		}
		segs, _, err := Split(data)
		if err != nil {
			t.Fatal(err)
		}
		want := byte(SOF0)
		if o.Progressive {
			want = SOF2
		}
		sampling := byte(0x11)
		if o.Subsampling == Half {
			sampling = 0x22
		}
		var seen bool
		for _, s := range segs {
			if s.Marker == want {
				seen = true
				if s.Payload[7] != sampling {
					t.Errorf("%v: luma sampling factors %02x", o, s.Payload[7])
				}
			}
		}
		if !seen {
			t.Errorf("%v: no frame header %02X", o, want)
		}
	}
}

// Optimised tables differ from the example tables of T.81 annex K, whose DC
// luma table starts 00 01 05 01 01 01 01 01 01.
func TestHuffmanTablesAreOptimised(t *testing.T) {
	segs, _, err := Split(encode(t, ramp(256, 256), Options{80, Full, false}))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range segs {
		if s.Marker == 0xC4 && s.Payload[0] == 0 {
			if bytes.HasPrefix(s.Payload[1:], []byte{0, 1, 5, 1, 1, 1, 1, 1, 1}) {
				t.Error("the example tables are in use: files are larger than they need be")
			}
			return
		}
	}
	t.Error("no Huffman table found")
}

func TestDecode(t *testing.T) {
	m := ramp(640, 427)
	data := encode(t, m, Options{97, Full, false})
	full, err := Decode(data, 0)
	if err != nil {
		t.Fatal(err)
	}
	if full.W != 640 || full.H != 427 {
		t.Fatalf("decoded %d x %d", full.W, full.H)
	}
	small, err := Decode(data, 200)
	if err != nil {
		t.Fatal(err)
	}
	if small.W != 240 || small.H != 161 {
		t.Errorf("3/8 of 640 x 427 is 240 x 161, decoded %d x %d", small.W, small.H)
	}
	if _, err := Decode(data[:len(data)/2], 0); err == nil {
		t.Error("half a file decoded without an error")
	}
	if _, err := Decode(nil, 0); err == nil {
		t.Error("an empty file decoded without an error")
	}
}

func TestSplice(t *testing.T) {
	data := encode(t, ramp(64, 64), Options{90, Full, false})
	once, err := Splice(data, []Segment{{APP1, []byte("one")}, {0xFE, []byte("old comment")}})
	if err != nil {
		t.Fatal(err)
	}
	twice, err := Splice(once, []Segment{{APP2, []byte("two")}})
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(twice, []byte("one")) || bytes.Contains(twice, []byte("old comment")) {
		t.Error("an old segment was kept")
	}
	if n := len(twice) - len(data); n != Overhead([]Segment{{APP2, []byte("two")}}) {
		t.Errorf("grew by %d bytes", n)
	}
	a, _ := Decode(data, 0)
	b, err := Decode(twice, 0)
	if err != nil || !bytes.Equal(a.Pix, b.Pix) {
		t.Errorf("splicing touched the pixels (%v)", err)
	}
	if _, err := Splice(data, []Segment{{APP1, make([]byte, MaxPayload+1)}}); err == nil {
		t.Error("a segment too long was accepted")
	}
}

func FuzzSplit(f *testing.F) {
	f.Add(encode(f, ramp(16, 16), Options{50, Half, false}))
	f.Add([]byte{0xFF, 0xD8, 0xFF, 0xFF, 0xE1, 0, 2, 0xFF, 0xDA})
	f.Add([]byte("plain text"))
	f.Fuzz(func(t *testing.T, data []byte) {
		segs, rest, err := Split(data)
		if err != nil {
			return
		}
		again, err := Join(segs, rest)
		if err != nil {
			t.Fatal(err)
		}
		s2, r2, err := Split(again)
		if err != nil || len(s2) != len(segs) || !bytes.Equal(r2, rest) {
			t.Fatalf("split, joined and split again differs: %v", err)
		}
		for i := range segs {
			if s2[i].Marker != segs[i].Marker || !bytes.Equal(s2[i].Payload, segs[i].Payload) {
				t.Fatalf("segment %d differs", i)
			}
		}
	})
}

func BenchmarkEncode24MP(b *testing.B) {
	m := ramp(6000, 4000)
	e, err := NewEncoder()
	if err != nil {
		b.Fatal(err)
	}
	defer e.Close()
	b.SetBytes(int64(len(m.Pix)))
	for b.Loop() {
		if _, err := e.Encode(m, Options{92, Full, false}); err != nil {
			b.Fatal(err)
		}
	}
}
