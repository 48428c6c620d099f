package rawfile

import (
	"context"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"mullion/internal/raster"
)

// isBayer reports whether the sensor is a plain mosaic of red, green and blue that
// repeats every two photosites, with whole-number samples and square pixels.
func (s *sensor) isBayer() bool {
	if !s.singleChannel || s.filters <= 1000 || s.skewed || s.phaseBlack || s.colours != 3 {
		return false
	}
	if math.Abs(s.aspect-1) > 0.02 {
		return false
	}
	var seen [3]int
	for y := range s.colourOf {
		for x := range s.colourOf[y] {
			c := s.colour(y, x)
			if c > 2 || c != s.colour(y&1, x&1) {
				return false
			}
			seen[c]++
		}
	}
	return seen[0] == 4 && seen[1] == 8 && seen[2] == 4
}

// colour returns 0 red, 1 green, 2 blue, or 3 for anything else.
func (s *sensor) colour(y, x int) uint8 {
	i := int(s.colourOf[y][x])
	if i >= len(s.names) {
		return 3
	}
	switch s.names[i] {
	case 'R':
		return 0
	case 'G':
		return 1
	case 'B':
		return 2
	}
	return 3
}

// cellBlack is the black level by position in the 2 x 2 cell: the common level,
// the channel's and the position's part. A pattern that repeats over more than two
// photosites is averaged over those of one position.
func (s *sensor) cellBlack() (out [2][2]float32) {
	for y := range 2 {
		for x := range 2 {
			out[y][x] = s.black + s.blackChannel[s.colourOf[y][x]&3] + s.pattern(y, x)
		}
	}
	return out
}

func (s *sensor) pattern(y0, x0 int) float32 {
	if len(s.blackPattern) == 0 {
		return 0
	}
	sum, n := float32(0), 0
	for y := y0; y < y0+2*s.patternH; y += 2 {
		for x := x0; x < x0+2*s.patternW; x += 2 {
			sum += s.blackPattern[(y+s.patternY)%s.patternH*s.patternW+(x+s.patternX)%s.patternW]
			n++
		}
	}
	return sum / float32(n)
}

// histogram counts the samples of the active area by value and colour.
type histogram [3][]uint32

// newMosaic copies the active area out of LibRaw's buffer into samples of its size and
// counts their values on the way.
func newMosaic(ctx context.Context, s sensor, src, into []uint16) (*Mosaic, *histogram, error) {
	m := &Mosaic{W: s.w, H: s.h, Pix: into, Black: s.cellBlack(), White: s.white}
	for y := range 2 {
		for x := range 2 {
			m.CFA[y][x] = s.colour(y, x)
		}
	}
	// Each worker counts for itself in one table a column parity: a shared table
	// would make the cores wait for each other.
	const tables = 4
	var parts [tables]struct {
		sync.Mutex
		count *[2][2][65536]uint32
	}
	var turn atomic.Uint32
	rows := (m.H + min(tables, runtime.GOMAXPROCS(0)) - 1) / min(tables, runtime.GOMAXPROCS(0))
	err := raster.BandsOf(ctx, m.H, max(rows, 2), func(y0, y1 int) {
		p := &parts[turn.Add(1)%tables]
		p.Lock()
		defer p.Unlock()
		if p.count == nil {
			p.count = new([2][2][65536]uint32)
		}
		for y := y0; y < y1 && ctx.Err() == nil; y++ {
			at := (s.top+y)*s.pitch + s.left
			row := m.Pix[y*m.W : (y+1)*m.W]
			copy(row, src[at:at+m.W])
			tally(row, &p.count[y&1][0], &p.count[y&1][1])
		}
	})
	if err != nil {
		return nil, nil, err
	}
	h := &histogram{}
	for c := range h {
		h[c] = make([]uint32, 65536)
	}
	for i := range parts {
		if parts[i].count == nil {
			continue
		}
		for y := range 2 {
			for x := range 2 {
				for v, n := range &parts[i].count[y][x] {
					h[m.CFA[y][x]][v] += n
				}
			}
		}
	}
	return m, h, nil
}

func tally(row []uint16, even, odd *[65536]uint32) {
	x := 0
	for ; x+1 < len(row); x += 2 {
		even[row[x]]++
		odd[row[x+1]]++
	}
	if x < len(row) {
		even[row[x]]++
	}
}

// Release gives the frame's pixels back for reuse. The caller must hold no other
// reference to them; the frame keeps its Info and Camera.
func (f *Frame) Release() {
	if f.Mosaic != nil && f.Mosaic.Pix != nil {
		raster.PutWords(f.Mosaic.Pix)
		f.Mosaic.Pix = nil
	}
	raster.PutRGB(f.RGB)
	if f.Coded != nil {
		raster.PutRGB(f.Coded.RGB)
		f.Coded.RGB = nil
	}
	f.RGB = nil
}
