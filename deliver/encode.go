package deliver

import (
	"bytes"
	"context"
	"math"

	"mullion/jpegfile"
)

// coded is a JPEG file without its metadata, and how it was coded.
type coded struct {
	data        []byte
	quality     int
	subsampling jpegfile.Subsampling
}

// search codes an image at the highest quality the rules allow: under the aim,
// or at the sheet's good quality, or failing that with less chroma, or failing
// that worse; always under the limit. overhead counts the metadata that is
// added later. ok is false when even the lowest quality is too big.
func search(ctx context.Context, m *jpegfile.Image, r FileRules, overhead int) (c coded, ok bool, err error) {
	enc, err := jpegfile.NewEncoder()
	if err != nil {
		return coded{}, false, err
	}
	defer enc.Close()
	s := searcher{ctx: ctx, enc: enc, whole: m, rules: r, overhead: overhead}
	s.sample, s.factor = sampleOf(m)
	c, ok, err = s.highest(jpegfile.Full, r.Good, r.Quality[1])
	if ok || err != nil {
		return c, ok, err
	}
	return s.highest(jpegfile.Half, r.Quality[0], r.Quality[1])
}

type searcher struct {
	ctx           context.Context
	enc           *jpegfile.Encoder
	whole, sample *jpegfile.Image
	factor        float64 // pixels of whole over pixels of sample
	rules         FileRules
	overhead      int
}

// sampleRows is the height of the strips a size is estimated from: the coding
// unit of 4:2:0. One strip in sampleEvery is taken.
const (
	sampleRows  = 16
	sampleEvery = 6
)

// sampleOf returns every sixth strip of a big image as an image of its own.
// Its coded size, scaled, tells the whole's within a few percent at a sixth of
// the time.
func sampleOf(m *jpegfile.Image) (*jpegfile.Image, float64) {
	if m.W*m.H < 1<<19 {
		return m, 1
	}
	s := &jpegfile.Image{W: m.W}
	for y := sampleRows * (sampleEvery / 2); y+sampleRows <= m.H; y += sampleRows * sampleEvery {
		s.Pix = append(s.Pix, m.Pix[3*m.W*y:3*m.W*(y+sampleRows)]...)
		s.H += sampleRows
	}
	return s, float64(m.H) / float64(s.H)
}

// budget is how many bytes the coded pixels may take at a quality.
func (s *searcher) budget(quality int) int {
	b := s.rules.MaxBytes
	if quality > s.rules.Good && s.rules.AimBytes > 0 {
		b = s.rules.AimBytes
	}
	if b == 0 {
		return math.MaxInt
	}
	return b - s.overhead
}

func (s *searcher) encode(m *jpegfile.Image, quality int, sub jpegfile.Subsampling) ([]byte, error) {
	if err := s.ctx.Err(); err != nil {
		return nil, err
	}
	return s.enc.Encode(m, jpegfile.Options{Quality: quality, Subsampling: sub, Progressive: s.rules.Progressive})
}

// highest finds the highest quality in [lo, hi] whose size is within its budget.
func (s *searcher) highest(sub jpegfile.Subsampling, lo, hi int) (coded, bool, error) {
	q, err := s.guess(sub, lo, hi)
	if err != nil || q < lo {
		return coded{}, false, err
	}
	for q >= lo {
		data, err := s.encode(s.whole, q, sub)
		if err != nil {
			return coded{}, false, err
		}
		over := float64(len(data)) / float64(s.budget(q))
		if over <= 1 {
			return coded{bytes.Clone(data), q, sub}, true, nil
		}
		// A step of quality is worth 3 % of the bytes at least.
		step := max(1, int(math.Log(over)/math.Log(1.06)))
		if q > lo {
			step = min(step, q-lo)
		}
		q -= step
	}
	return coded{}, false, nil
}

// hopeless is how far over its budget the sample must be to give up on a
// quality without coding the whole.
const hopeless = 1.1

// guess bisects on the sample. Without a limit it is the highest at once; with
// one that lo exceeds by far it is below lo.
func (s *searcher) guess(sub jpegfile.Subsampling, lo, hi int) (int, error) {
	if s.budget(hi) == math.MaxInt {
		return hi, nil
	}
	low := lo
	for lo < hi {
		mid := (lo + hi + 1) / 2
		data, err := s.encode(s.sample, mid, sub)
		if err != nil {
			return 0, err
		}
		if float64(len(data))*s.factor <= float64(s.budget(mid)) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	if lo == low {
		data, err := s.encode(s.sample, lo, sub)
		if err != nil || float64(len(data))*s.factor > hopeless*float64(s.budget(lo)) {
			return low - 1, err
		}
	}
	return lo, nil
}
