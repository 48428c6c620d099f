package simcam

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
)

// decodeLossless reads what losslessJPEG writes, by the book of ITU-T T.81,
// annexes C, F.2.2.3 and H: a slow second opinion.
func decodeLossless(b []byte) (pix []uint16, w, h int, err error) {
	var codes map[[2]int]int // {length, code} to category
	if len(b) < 4 || b[0] != 0xff || b[1] != 0xd8 {
		return nil, 0, 0, errors.New("no start of image")
	}
	for i := 2; ; {
		if b[i] != 0xff {
			return nil, 0, 0, errors.New("no marker where one is due")
		}
		marker, n := b[i+1], int(b[i+2])<<8|int(b[i+3])
		body := b[i+4 : i+2+n]
		i += 2 + n
		switch marker {
		case 0xc4:
			codes = map[[2]int]int{}
			code, k := 0, 17
			for length := 1; length <= 16; length++ {
				for range body[length] {
					codes[[2]int{length, code}] = int(body[k])
					if code == 1<<length-1 {
						return nil, 0, 0, errors.New("a code of ones only")
					}
					code, k = code+1, k+1
				}
				code <<= 1
			}
		case 0xc3:
			if body[0] != 16 || body[5] != 2 {
				return nil, 0, 0, errors.New("not 16 bits and two components")
			}
			h, w = int(body[1])<<8|int(body[2]), 2*(int(body[3])<<8|int(body[4]))
		case 0xda:
			if body[5] != 1 {
				return nil, 0, 0, errors.New("not predictor 1")
			}
			pix, err = decodeScan(b[i:], codes, w, h)
			return pix, w, h, err
		}
	}
}

func decodeScan(b []byte, codes map[[2]int]int, w, h int) ([]uint16, error) {
	pos, left, cur := 0, 0, 0
	bit := func() int {
		if left == 0 {
			cur, left = int(b[pos]), 8
			pos++
			if cur == 0xff {
				if b[pos] != 0 {
					panic("marker inside the scan")
				}
				pos++
			}
		}
		left--
		return cur >> left & 1
	}
	pix := make([]uint16, 0, w*h)
	for y := range h {
		for x := range w {
			length, code, category := 0, 0, -1
			for category < 0 {
				code, length = code<<1|bit(), length+1
				if length > 16 {
					return nil, errors.New("an unknown code")
				}
				if c, ok := codes[[2]int{length, code}]; ok {
					category = c
				}
			}
			diff := 0
			if category == 16 {
				diff = 32768
			} else if category > 0 {
				for range category {
					diff = diff<<1 | bit()
				}
				if diff < 1<<(category-1) {
					diff -= 1<<category - 1
				}
			}
			predicted := 1 << 15
			if x >= 2 {
				predicted = int(pix[y*w+x-2])
			} else if y > 0 {
				predicted = int(pix[(y-1)*w+x])
			}
			pix = append(pix, uint16(predicted+diff))
		}
	}
	if b[pos] != 0xff || b[pos+1] != 0xd9 || len(b) != pos+2 {
		return nil, errors.New("the file doesn't end behind the last sample")
	}
	return pix, nil
}

func TestLosslessJPEG(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	fill := func(f func(i int) uint16) []uint16 {
		p := make([]uint16, 64*20)
		for i := range p {
			p[i] = f(i)
		}
		return p
	}
	for name, pix := range map[string][]uint16{
		"noise of 16 bits": fill(func(int) uint16 { return uint16(rng.Uint32()) }),
		"noise of 14 bits": fill(func(int) uint16 { return uint16(rng.Uint32() & 0x3fff) }),
		"black":            fill(func(int) uint16 { return 0 }),
		"white":            fill(func(int) uint16 { return 65535 }),
		"largest steps":    fill(func(i int) uint16 { return uint16(i >> 1 & 1 << 15) }),
		"ramp":             fill(func(i int) uint16 { return uint16(i * 7) }),
		// Falling frequencies ask for codes longer than 16 bits.
		"rare categories": fill(func(i int) uint16 {
			if i%2 == 1 || rng.IntN(3) > 0 {
				return 1000
			}
			return uint16(1000 + 1<<min(14, rng.IntN(4)*rng.IntN(6)))
		}),
	} {
		got, w, h, err := decodeLossless(losslessJPEG(pix, 64, 20))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if w != 64 || h != 20 || !slices.Equal(got, pix) {
			t.Errorf("%s: %d x %d samples came back otherwise", name, w, h)
		}
	}
}

// Counts that fall like Fibonacci's numbers give the deepest tree there is.
func TestHuffmanLimit(t *testing.T) {
	var counts [17]int
	a, b := 1, 1
	for i := range counts {
		counts[i] = a
		a, b = b, a+b
	}
	h := newHuffman(counts)
	room := 0.0
	for c, n := range h.length {
		if n < 1 || n > 16 {
			t.Errorf("category %d has a code of %d bits", c, n)
		}
		room += 1 / float64(int(1)<<n)
	}
	if room >= 1 {
		t.Errorf("the codes fill %v of the code space", room)
	}
}

func BenchmarkLosslessJPEG(b *testing.B) {
	r := benchRaw(b)
	b.SetBytes(int64(2 * len(r.Pix)))
	var n int
	for b.Loop() {
		n = len(losslessJPEG(r.Pix, r.W, r.H))
	}
	b.ReportMetric(8*float64(n)/float64(len(r.Pix)), "bits/sample")
}

// benchView is a scene of 1800 x 1200 with structure and wide range.
func benchView() View {
	return View{Name: "bench", FocalMM: 16, Scenes: []Scene{enlarged(1800, 1200)}}
}

func benchRaw(b *testing.B) *Raw {
	b.Helper()
	s := Defaults()
	s.EV = []float64{0}
	raws, err := LF1().Bracket(context.Background(), benchView(), s)
	if err != nil {
		b.Fatal(err)
	}
	return raws[0]
}
