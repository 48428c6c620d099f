package simcam

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"mullion/internal/raster"
)

// Fault is something that goes wrong while a view is photographed.
type Fault string

// The faults that can be planted, each as it happens in a house.
const (
	ClippedWindow Fault = "clipped window" // the whole bracket three stops too bright
	DarkShadows   Fault = "dark shadows"   // the whole bracket seven stops too dark
	MissingFrame  Fault = "missing frame"  // the middle one of the brackets' files is gone
	MissingEnd    Fault = "missing end"    // the darkest one is
	Bump          Fault = "bump"           // somebody touched the tripod: 3 pixels in the last frames
	Blur          Fault = "blur"           // out of focus from the start
	Shake         Fault = "shake"          // one frame, the brightest, blurred by movement
	WrongBalance  Fault = "wrong balance"  // set to lamps in daylight, to daylight under lamps
	LowISO        Fault = "low iso"        // an extended setting: tagged 50, exposed as 100 and a stop over
	HighISO       Fault = "high iso"       // ISO 1600
	Aperture      Fault = "aperture"       // the bracket by aperture from the middle on
	Flicker       Fault = "flicker"        // lamps on 60 Hz mains, read row by row
	Dust          Fault = "dust"           // on the sensor; plant it in every view
	Tilt          Fault = "tilt"           // pitch 7 degrees down, roll 3
	Fan           Fault = "fan"            // something dark turns in the picture
	DeadFile      Fault = "dead file"      // one file is cut short on the card
	Uneven        Fault = "uneven"         // the brightest frame is a stop and a half short
	Focus         Fault = "focus"          // the second darkest frame is out of focus
	Near          Fault = "near edge"      // the foot of the picture lies nearer than the depth of field
	Zoom          Fault = "zoom"           // the zoom ring moved before the brighter frames
	AutoISO       Fault = "auto iso"       // brighter frames by sensitivity
	LampOff       Fault = "lamp off"       // 1.7 stops less light than in the room's other views
	Veil          Fault = "veil"           // light scattered over the picture, half its mean
)

// Times is the fault planted weaker or stronger: 0.5 is half of what the list above
// says, in its own measure (stops, pixels, degrees). Faults of files and settings that
// are there or not have no strength.
func (f Fault) Times(k float64) Fault { return Fault(fmt.Sprintf("%s x%g", f, k)) }

// parts takes kind and strength apart.
func (f Fault) parts() (Fault, float64) {
	if i := strings.LastIndex(string(f), " x"); i > 0 {
		if k, err := strconv.ParseFloat(string(f[i+2:]), 64); err == nil && k > 0 {
			return f[:i], k
		}
	}
	return f, 1
}

// Faults lists all that can be planted.
func Faults() []Fault {
	return []Fault{ClippedWindow, DarkShadows, MissingFrame, MissingEnd, Bump, Blur, Shake, WrongBalance, LowISO, HighISO,
		Aperture, Flicker, Dust, Tilt, Fan, DeadFile, Uneven, Focus, Near, Zoom, AutoISO, LampOff, Veil}
}

// ShootFaulty is [Camera.Shoot] with faults planted in views, by the name of the view.
// Names of views must differ.
func (c *Camera) ShootFaulty(ctx context.Context, dir string, views []View, s Settings, faults map[string][]Fault) ([]Shot, error) {
	var all []Shot
	for i, v := range views {
		body, set, view := *c, s, v
		set.First = s.First + i*len(s.EV)
		set.Start = s.Start.Add(time.Duration(i) * 100 * time.Second)
		set.Seed = s.Seed + uint64(i)
		for _, f := range faults[v.Name] {
			if err := plant(f, &body, &set, &view); err != nil {
				return all, fmt.Errorf("view %s: %w", v.Name, err)
			}
		}
		shots, err := body.Shoot(ctx, dir, []View{view}, set, nil)
		if err != nil {
			return all, err
		}
		for _, f := range faults[v.Name] {
			if shots, err = spoil(f, dir, set, shots); err != nil {
				return all, fmt.Errorf("view %s: %w", v.Name, err)
			}
		}
		all = append(all, shots...)
	}
	return all, nil
}

// plant changes the camera, its settings or the scene before the view is taken.
func plant(f Fault, c *Camera, s *Settings, v *View) error {
	n := len(s.EV)
	kind, k := f.parts()
	switch kind {
	case ClippedWindow:
		s.Bias += 3 * k
	case DarkShadows:
		s.Bias -= 7 * k
	case Bump:
		s.Moves = make([]Move, n)
		for i := range s.Moves {
			if s.EV[i] > 0 || n == 1 {
				s.Moves[i] = Move{X: 2.4 * k, Y: 1.8 * k} // 3 pixels
			}
		}
	case Blur:
		each(v, func(ctx context.Context, m *raster.RGB, _ int) error { return soften(ctx, m, 2.2*k) })
	case Shake:
		only(v, n, n-1, func(ctx context.Context, m *raster.RGB) error { return smear(ctx, m, int(math.Round(9*k))) })
	case Focus:
		only(v, n, min(1, n-1), func(ctx context.Context, m *raster.RGB) error { return soften(ctx, m, 2.2*k) })
	case Near:
		each(v, func(ctx context.Context, m *raster.RGB, _ int) error { return softFoot(ctx, m, 3*k) })
	case WrongBalance:
		s.Balance, s.Jitter = BalanceTungsten, 0
		// Red over blue of white: 1 in daylight, 6 under a lamp; they are equally wrong near 1.5.
		if v.Light[0] > 1.5*v.Light[2] {
			s.Balance = BalanceDaylight
		}
	case LowISO:
		s.ISO, s.TagISO, s.Bias = 100, 50, s.Bias+1
	case HighISO:
		s.ISO = int(1600 * k)
	case AutoISO:
		s.ByISO = true
	case Aperture:
		s.ByAperture = true
	case Uneven:
		s.EV = slices.Clone(s.EV)
		s.EV[n-1] -= 1.5 * k
	case Zoom:
		zoom(v, s, 1+.05*k)
	case Flicker:
		c.Pulse = Pulse{Hertz: 120, Depth: .9 * k, Readout: 1. / 25}
	case Dust:
		c.Dust = []Speck{{.31, .24, .0022, .12 * k}, {.62, .41, .003, .09 * k}, {.82, .15, .0018, .15 * k}, {.17, .55, .0035, .07 * k}}
	case Tilt:
		tilt(v, -7*k, 3*k)
	case Fan:
		split(v, n)
		each(v, func(_ context.Context, m *raster.RGB, step int) error { turnFan(m, step, .09*k); return nil })
	case LampOff:
		each(v, func(_ context.Context, m *raster.RGB, _ int) error {
			scale(m, float32(math.Exp2(-1.7*k)), 0)
			return nil
		})
	case Veil:
		each(v, func(_ context.Context, m *raster.RGB, _ int) error { scale(m, 1, .5*k); return nil })
	case MissingFrame, MissingEnd, DeadFile:
	default:
		return fmt.Errorf("simulated camera: no fault is called %q", f)
	}
	return nil
}

// spoil does to the files what happens after they are taken.
func spoil(f Fault, dir string, s Settings, shots []Shot) ([]Shot, error) {
	at := func(step float64) int {
		return slices.IndexFunc(shots, func(x Shot) bool { return x.Frame.Step == step })
	}
	gone := -1
	kind, _ := f.parts()
	switch kind {
	case MissingFrame:
		gone = at(s.EV[len(s.EV)/2])
	case MissingEnd:
		gone = at(slices.Min(s.EV))
	case DeadFile:
		path := filepath.Join(dir, filepath.FromSlash(Folder), shots[0].File)
		info, err := os.Stat(path)
		if err != nil {
			return shots, err
		}
		return shots, os.Truncate(path, info.Size()*2/3)
	}
	if gone < 0 {
		return shots, nil
	}
	stem := shots[gone].File[:len(shots[gone].File)-len(filepath.Ext(shots[gone].File))]
	for _, ending := range []string{".DNG", ".JPG"} {
		err := os.Remove(filepath.Join(dir, filepath.FromSlash(Folder), stem+ending))
		if err != nil && (ending == ".DNG" || !os.IsNotExist(err)) {
			return shots, err
		}
	}
	return slices.Delete(shots, gone, gone+1), nil
}

// each changes every scene of a view after it is loaded.
func each(v *View, change func(ctx context.Context, m *raster.RGB, step int) error) {
	scenes := slices.Clone(v.Scenes)
	for i, load := range scenes {
		scenes[i] = func(ctx context.Context) (*raster.RGB, error) {
			m, err := load(ctx)
			if err == nil {
				err = change(ctx, m, i)
			}
			return m, err
		}
	}
	v.Scenes = scenes
}

// split gives every step of the bracket a scene of its own, loaded once.
func split(v *View, n int) {
	if len(v.Scenes) != 1 {
		return
	}
	load := v.Scenes[0]
	var once sync.Once
	var first *raster.RGB
	var err error
	v.Scenes = make([]Scene, n)
	for i := range v.Scenes {
		v.Scenes[i] = func(ctx context.Context) (*raster.RGB, error) {
			once.Do(func() { first, err = load(ctx) })
			if err != nil {
				return nil, err
			}
			return first.Clone(), nil
		}
	}
}

// only changes the scene of one step.
func only(v *View, n, at int, change func(ctx context.Context, m *raster.RGB) error) {
	split(v, n)
	each(v, func(ctx context.Context, m *raster.RGB, step int) error {
		if step != at {
			return nil
		}
		return change(ctx, m)
	})
}

// scale multiplies a scene and adds a share of its mean.
func scale(m *raster.RGB, k float32, veil float64) {
	for _, p := range m {
		sum := 0.
		for _, v := range p.Pix {
			sum += float64(min(v, 50)) // of a lamp, what a lens scatters far
		}
		add := float32(veil * sum / float64(len(p.Pix)))
		for i, v := range p.Pix {
			p.Pix[i] = k*v + add
		}
	}
}

// softFoot blurs the foot of a picture, more the lower, from two thirds of its height.
func softFoot(ctx context.Context, m *raster.RGB, sigma float64) error {
	for _, p := range m {
		soft := raster.Get(p.W, p.H)
		if err := raster.Gauss(ctx, soft, p, sigma); err != nil {
			return err
		}
		for y := p.H * 2 / 3; y < p.H; y++ {
			k := float32(min(1, 6*(float64(y)/float64(p.H)-2./3)))
			row, blurred := p.Row(y), soft.Row(y)
			for x, v := range row {
				row[x] = v + k*(blurred[x]-v)
			}
		}
		raster.Put(soft)
	}
	return nil
}

// zoom makes the frames brighter than the metered one with a longer focal length.
func zoom(v *View, s *Settings, k float64) {
	n := len(s.EV)
	s.Zoom = make([]float64, n)
	for i := range s.Zoom {
		s.Zoom[i] = 1
		if s.EV[i] > 0 {
			s.Zoom[i] = k
		}
	}
	split(v, n)
	mm, zooms := v.FocalMM, s.Zoom
	scenes := slices.Clone(v.Scenes)
	for i, load := range scenes {
		if zooms[i] == 1 {
			continue
		}
		scenes[i] = func(ctx context.Context) (*raster.RGB, error) {
			m, err := load(ctx)
			if err != nil {
				return m, err
			}
			defer raster.PutRGB(m)
			return turned(ctx, m, mm, k, 0, 0), ctx.Err()
		}
	}
	v.Scenes = scenes
}

func soften(ctx context.Context, m *raster.RGB, sigma float64) error {
	for _, p := range m {
		if err := raster.Gauss(ctx, p, p, sigma); err != nil {
			return err
		}
	}
	return nil
}

// smear moves the picture sideways by n pixels during the exposure.
func smear(_ context.Context, m *raster.RGB, n int) error {
	for _, p := range m {
		line := make([]float32, p.W)
		for y := range p.H {
			row := p.Row(y)
			copy(line, row)
			for x := range row {
				sum := float32(0)
				for k := range n {
					sum += line[max(0, min(p.W-1, x+k-n/2))]
				}
				row[x] = sum / float32(n)
			}
		}
	}
	return nil
}

// turnFan paints four dark blades, turned by an angle that differs from step to step;
// size is their length as a share of the short edge.
func turnFan(m *raster.RGB, step int, size float64) {
	w, h := m.W(), m.H()
	cx, cy, r := .42*float64(w), .30*float64(h), size*float64(min(w, h))
	turn := 0.7 * float64(step*step+step)
	for y := max(0, int(cy-r)); y < min(h, int(cy+r)); y++ {
		for x := max(0, int(cx-r)); x < min(w, int(cx+r)); x++ {
			dx, dy := float64(x)-cx, float64(y)-cy
			if d := math.Hypot(dx, dy); d > r || d < r*.1 || math.Cos(4*(math.Atan2(dy, dx)-turn)) < .35 {
				continue
			}
			for _, p := range m {
				p.Row(y)[x] *= .25
			}
		}
	}
}

// tilt turns the camera after the scene was composed: pitch positive looks up, roll
// positive is clockwise seen from behind. A slightly longer focal length keeps the frame
// inside the scene.
func tilt(v *View, pitch, roll float64) {
	const zoom = 1.35
	mm := v.FocalMM
	v.FocalMM = math.Round(mm * zoom)
	k := v.FocalMM / mm
	scenes := slices.Clone(v.Scenes)
	for i, load := range scenes {
		scenes[i] = func(ctx context.Context) (*raster.RGB, error) {
			m, err := load(ctx)
			if err != nil {
				return m, err
			}
			defer raster.PutRGB(m)
			return turned(ctx, m, mm, k, pitch, roll), ctx.Err()
		}
	}
	v.Scenes = scenes
}

// turned looks through a camera that was turned about its centre; the scene's focal
// length is mm on a long edge of 36, the new one k times that.
func turned(ctx context.Context, m *raster.RGB, mm, k, pitch, roll float64) *raster.RGB {
	w, h := m.W(), m.H()
	f := mm / 36 * float64(max(w, h))
	sp, cp := math.Sincos(pitch * math.Pi / 180)
	sr, cr := math.Sincos(roll * math.Pi / 180)
	out := raster.GetRGB(w, h)
	turnRow := func(y int) {
		for x := range w {
			u, t := (float64(x)+.5-float64(w)/2)/(f*k), (float64(y)+.5-float64(h)/2)/(f*k)
			u, t = cr*u-sr*t, sr*u+cr*t // roll
			a, b := cp*t-sp, sp*t+cp    // pitch: looking up shows what is above
			px, py := u/b*f+float64(w)/2-.5, a/b*f+float64(h)/2-.5
			for c := range out {
				out[c].Row(y)[x] = between(m[c], px, py)
			}
		}
	}
	raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			turnRow(y)
		}
	})
	return out
}

// between interpolates the logarithm of radiance at a place between samples.
func between(p *raster.Plane, x, y float64) float32 {
	x, y = max(0, min(float64(p.W)-1.001, x)), max(0, min(float64(p.H)-1.001, y))
	ix, iy := int(x), int(y)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	a, b, c, d := p.Row(iy)[ix], p.Row(iy)[ix+1], p.Row(iy + 1)[ix], p.Row(iy + 1)[ix+1]
	l := func(v float32) float32 { return raster.Log2(max(floor, v)) }
	return raster.Exp2((l(a)*(1-fx)+l(b)*fx)*(1-fy) + (l(c)*(1-fx)+l(d)*fx)*fy)
}
