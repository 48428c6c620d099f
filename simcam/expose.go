package simcam

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"mullion/colour"
	"mullion/internal/raster"
)

// Frame says how one frame is taken and what the camera writes about it.
type Frame struct {
	Shutter Shutter
	ISO     int
	TagISO  int // what the camera writes instead of ISO: an extended setting; 0 writes ISO
	FNumber float64

	Step     float64 // place in the bracket, EV, written as exposure compensation
	Manual   bool    // manual exposure: no compensation and no bracketing mode is written
	FocalMM  float64
	Portrait bool
	Time     time.Time
	Neutral  colour.Vec3 // as-shot neutral, green 1
	Move     Move        // what the scene was projected with

	Seed, Number uint64 // seed of the card and number of the frame: together they fix the noise
}

// ScaleToDN returns the counts above black that a camera RGB of 1 gives.
func (c *Camera) ScaleToDN(f Frame) float64 {
	return Gain(f.Shutter.Seconds(), float64(f.ISO), f.FNumber) * float64(c.White-c.Black)
}

// Raw is one exposed frame: the sensor's counts, row-major, RGGB.
type Raw struct {
	Camera *Camera
	Frame  Frame
	W, H   int
	Pix    []uint16
}

// Expose opens the shutter on a projection.
func (c *Camera) Expose(ctx context.Context, p *Projection, f Frame) (*Raw, error) {
	if f.ISO <= 0 || !(f.FNumber > 0) {
		return nil, fmt.Errorf("simulated camera: no exposure with ISO %d and f/%g", f.ISO, f.FNumber)
	}
	f.Portrait = p.Portrait
	r := &Raw{Camera: c, Frame: f, W: p.W, H: p.H, Pix: make([]uint16, p.W*p.H)}
	s := c.sensor(f)
	err := raster.Bands(ctx, r.H, func(y0, y1 int) {
		noise := newRowNoise()
		for y := y0; y < y1; y++ {
			s.exposeRow(r.Pix[y*r.W:(y+1)*r.W], p.light.Row(y), c.Pulse.row(y, r.H, f.Shutter.Seconds(), 2.4*float64(f.Number)), noise.row(f.Seed, f.Number+1, y))
		}
	})
	if err != nil {
		return nil, err
	}
	return r, nil
}

// sensor holds the figures of one exposure.
type sensor struct {
	perLight    float32 // electrons for a light of 1
	dark        float32
	full        float32 // electrons at which nothing but clipping can happen
	row         float64
	readVar     float32
	perElectron float32 // counts
	black       float32
	white       uint16
}

func (c *Camera) sensor(f Frame) sensor {
	iso, t := float64(f.ISO), f.Shutter.Seconds()
	sat, rd := c.Saturation(iso), c.ReadNoise(iso)
	return sensor{
		perLight: float32(Gain(t, iso, f.FNumber) * sat),
		dark:     float32(c.Dark * t),
		// Ten standard deviations above saturation: no noise comes back from there.
		full:        float32(sat + 10*math.Sqrt(sat+rd*rd) + 10),
		row:         c.RowNoise,
		readVar:     float32(rd * rd),
		perElectron: float32(float64(c.White-c.Black) / sat),
		black:       float32(c.Black), white: uint16(c.White),
	}
}

// fewElectrons is where the Poisson distribution is near enough to a Gaussian of
// the same variance.
const fewElectrons = 60

// exposeRow counts the electrons of a row, which gets pulse of the mean light. Shot and read noise are independent,
// so for bright photosites one Gaussian carries the sum of their variances.
func (s sensor) exposeRow(dst []uint16, light []float32, pulse float32, rng *rand.Rand) {
	s.perLight *= pulse
	offset := float32(s.row * rng.NormFloat64())
	light = light[:len(dst)]
	for x := range dst {
		e := light[x]*s.perLight + s.dark
		if e > s.full {
			dst[x] = s.white
			continue
		}
		if e >= fewElectrons {
			e += sqrt32(e+s.readVar) * float32(rng.NormFloat64())
		} else {
			e = float32(poisson(rng, float64(e))) + sqrt32(s.readVar)*float32(rng.NormFloat64())
		}
		dst[x] = s.count(e + offset)
	}
}

// count rounds to whole counts and clips.
func (s sensor) count(e float32) uint16 {
	dn := e*s.perElectron + s.black + 0.5
	switch {
	case dn < 0:
		return 0
	case dn >= float32(s.white):
		return s.white
	}
	return uint16(dn)
}

func sqrt32(v float32) float32 { return float32(math.Sqrt(float64(v))) }
