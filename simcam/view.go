package simcam

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"mullion/colour"
	"mullion/internal/raster"
)

// Scene loads the radiance of a scene: linear BT.2020, 1.0 = 100 cd/m2, upright.
// The caller owns the image.
type Scene func(context.Context) (*raster.RGB, error)

// View is one composition to photograph.
type View struct {
	Name    string
	Scenes  []Scene // one, or one for every step of the bracket when something moves
	FocalMM float64
	Light   colour.Vec3 // linear BT.2020 of white in the view's mixed light, zero when unknown
}

// Settings are how a photographer sets the camera for a card.
type Settings struct {
	ISO     int
	TagISO  int // written instead of ISO: an extended setting; 0 writes ISO
	FNumber float64
	EV      []float64 // steps of the bracket, darkest first, EV from the metered exposure
	Bias    float64   // EV added to the meter's choice
	InOrder bool      // take the steps as listed; otherwise the metered one first, then outwards
	// ByAperture takes the steps brighter than the metered one by opening the aperture,
	// not by time: a camera in the wrong mode.
	ByAperture bool
	ByISO      bool      // the same by sensitivity: a camera left on automatic ISO
	Zoom       []float64 // what each step's focal length is multiplied by, or none
	Manual     bool      // manual exposure: the files carry no exposure compensation

	Balance Balance
	Jitter  float64 // standard deviation of the automatic neutral from frame to frame, relative

	Moves []Move  // one for every step of EV, or none
	Scale float64 // enlarges the scenes; 0 counts as 1

	Seed  uint64
	Start time.Time
	First int // number of the first file

	Uncompressed bool // plain 16-bit samples in the DNG files
	JPEG         bool // a camera JPEG beside every DNG
}

// Defaults returns ISO 160, f/8, five frames two stops apart, metered frame
// first.
func Defaults() Settings {
	return Settings{
		ISO: 160, FNumber: 8, EV: []float64{-4, -2, 0, 2, 4},
		Jitter: .01, Seed: 1, First: 1,
		Start: time.Date(2026, 5, 14, 10, 42, 7, 0, time.FixedZone("", -5*3600)),
	}
}

func (s *Settings) check(views []View) error {
	if len(s.EV) == 0 {
		return errors.New("simulated camera: a bracket without steps")
	}
	if s.ISO <= 0 || s.ISO > math.MaxUint16 || !(s.FNumber > 0) {
		return fmt.Errorf("simulated camera: no exposure with ISO %d and f/%g", s.ISO, s.FNumber)
	}
	if len(s.Moves) != 0 && len(s.Moves) != len(s.EV) {
		return fmt.Errorf("simulated camera: %d moves for %d steps", len(s.Moves), len(s.EV))
	}
	for _, v := range views {
		if n := len(v.Scenes); n != 1 && n != len(s.EV) {
			return fmt.Errorf("simulated camera: view %s has %d scenes for %d steps", v.Name, n, len(s.EV))
		}
	}
	return nil
}

// order returns the steps in the order they are taken.
func (s *Settings) order() []int {
	o := make([]int, len(s.EV))
	for i := range o {
		o[i] = i
	}
	if !s.InOrder {
		slices.SortStableFunc(o, func(a, b int) int {
			x, y := s.EV[a], s.EV[b]
			switch {
			case math.Abs(x) != math.Abs(y):
				return int(math.Copysign(1, math.Abs(x)-math.Abs(y)))
			case x < y:
				return -1
			case x > y:
				return 1
			}
			return 0
		})
	}
	return o
}

func (s *Settings) move(step int) Move {
	if len(s.Moves) == 0 {
		return Move{}
	}
	return s.Moves[step]
}

// session is what goes on from frame to frame while a card is filled.
type session struct {
	camera *Camera
	Settings
	rng    *rand.Rand
	now    time.Time
	number int
}

func (c *Camera) session(s Settings) *session {
	return &session{c, s, rand.New(rand.NewPCG(scatter(s.Seed), 0)), s.Start, s.First}
}

// wait lets the clock run for a random time between lo and hi seconds.
func (s *session) wait(lo, hi float64) {
	s.now = s.now.Add(time.Duration((lo + (hi-lo)*s.rng.Float64()) * float64(time.Second)))
}

// take photographs one view and hands every projection, with the frames to be
// exposed of it, to use, which closes the projection. Frames of a still view
// share one projection.
func (s *session) take(ctx context.Context, v View, use func(*Projection, []Frame) error) error {
	s.wait(0, 1)
	defer func() { s.wait(38, 150) }() // the walk to the next view
	base, err := v.Scenes[len(v.Scenes)/2](ctx)
	if err != nil {
		return fmt.Errorf("view %s: %w", v.Name, err)
	}
	defer func() { raster.PutRGB(base) }()
	metered, _, err := Meter(ctx, base, float64(s.ISO), s.FNumber)
	if err != nil {
		return fmt.Errorf("view %s: %w", v.Name, err)
	}
	frames := s.frames(v, metered.Step(s.Bias))
	order := s.order()
	for i := 0; i < len(order); {
		scene := base
		if len(v.Scenes) > 1 && order[i] != len(v.Scenes)/2 {
			if scene, err = v.Scenes[order[i]](ctx); err != nil {
				return fmt.Errorf("view %s: %w", v.Name, err)
			}
		}
		p, err := s.camera.Project(ctx, scene, s.Scale, frames[i].Move)
		if scene != base {
			raster.PutRGB(scene)
		}
		if err != nil {
			return fmt.Errorf("view %s: %w", v.Name, err)
		}
		n := i + 1
		for len(v.Scenes) == 1 && n < len(order) && frames[n].Move == frames[i].Move {
			n++
		}
		s.balance(v, p, frames[i:n])
		if err := use(p, frames[i:n]); err != nil {
			return fmt.Errorf("view %s: %w", v.Name, err)
		}
		i = n
	}
	return nil
}

// frames plans the bracket in the order of taking: all but the white balance.
func (s *session) frames(v View, metered Shutter) []Frame {
	var frames []Frame
	for _, step := range s.order() {
		f := Frame{
			Shutter: metered.Step(s.EV[step]), ISO: s.ISO, FNumber: s.FNumber,
			Step: s.EV[step], Manual: s.Manual, FocalMM: v.FocalMM,
			Time: s.now, Move: s.move(step), Seed: s.Seed, Number: uint64(s.number),
		}
		f.TagISO = s.TagISO
		if f.Step > 0 && s.ByAperture {
			f.Shutter, f.FNumber = metered, math.Max(2.8, s.FNumber*math.Exp2(-f.Step/2))
		}
		if f.Step > 0 && s.ByISO {
			f.Shutter, f.ISO = metered, int(math.Round(float64(s.ISO)*math.Exp2(f.Step)))
		}
		if len(s.Zoom) > 0 {
			f.FocalMM *= s.Zoom[step]
		}
		frames = append(frames, f)
		s.number++
		s.now = s.now.Add(time.Duration(f.Shutter.Seconds() * float64(time.Second)))
		s.wait(.18, .23)
	}
	return frames
}

func (s *session) balance(v View, p *Projection, frames []Frame) {
	for i := range frames {
		n := s.camera.Neutral(colour.Vec3{1, 1, 1})
		switch {
		case s.Balance == BalanceAuto:
			n = p.Auto
			n[0] *= 1 + s.Jitter*s.rng.NormFloat64()
			n[2] *= 1 + s.Jitter*s.rng.NormFloat64()
		case s.Balance == BalanceTungsten:
			n = s.camera.Neutral(tungsten)
		case s.Balance == BalanceTruth && v.Light != colour.Vec3{}:
			n = s.camera.Neutral(v.Light)
		}
		frames[i].Neutral, frames[i].Portrait = n, p.Portrait
	}
}

// Bracket photographs one view and returns its frames in the order of taking.
func (c *Camera) Bracket(ctx context.Context, v View, s Settings) ([]*Raw, error) {
	if err := s.check([]View{v}); err != nil {
		return nil, err
	}
	var raws []*Raw
	err := c.session(s).take(ctx, v, func(p *Projection, frames []Frame) error {
		defer p.Close()
		for _, f := range frames {
			r, err := c.Expose(ctx, p, f)
			if err != nil {
				return err
			}
			raws = append(raws, r)
		}
		return nil
	})
	return raws, err
}
