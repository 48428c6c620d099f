package group

import (
	"context"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"mullion/internal/raster"
	"mullion/metadata"
)

// room is the luminance of a place, wider than what one picture takes in.
type room struct{ light *raster.Plane }

// newRoom invents one: furniture of random size and reflectance under light that
// falls off, and windows some stops brighter than the room.
func newRoom(rng *rand.Rand) room {
	p := raster.New(300, 220)
	cx, cy := 300*rng.Float64(), 220*rng.Float64()
	for y := range p.H {
		for x := range p.W {
			d := math.Hypot(float64(x)-cx, float64(y)-cy)
			p.Row(y)[x] = float32(0.5 / (1 + d*d/2e4))
		}
	}
	box := func(w, h int, gain float32, fill bool) {
		x0, y0 := rng.IntN(300-w), rng.IntN(220-h)
		for y := y0; y < y0+h; y++ {
			for x := x0; x < x0+w; x++ {
				if fill {
					p.Row(y)[x] = gain * (1 + 0.5*float32(math.Sin(float64(x*y0+y*3)/9)))
				} else {
					p.Row(y)[x] *= gain
				}
			}
		}
	}
	for range 60 {
		box(8+rng.IntN(70), 8+rng.IntN(70), float32(math.Exp2(2*rng.NormFloat64()*0.7)), false)
	}
	for range 1 + rng.IntN(2) {
		box(20+rng.IntN(40), 25+rng.IntN(40), float32(math.Exp2(3+3*rng.Float64())), true)
	}
	return room{p}
}

// demoRooms reads the rendered house's radiance (16-bit code, log2 in 1/100 EV).
func demoRooms(t testing.TB) []room {
	files, _ := filepath.Glob(shared(t, "demo-house/A-*.radiance.png"))
	var rooms []room
	for _, name := range files {
		if base := filepath.Base(name); len(base) > 0 && !slices.Contains([]string{
			"A-entry.radiance.png", "A-dining.radiance.png", "A-kitchen.radiance.png", "A-kitchenwide.radiance.png", "A-guest.radiance.png", "A-bath.radiance.png"}, base) {
			continue
		}
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		img, _, err := image.Decode(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		p := raster.New(300, 200)
		for y := range p.H {
			for x := range p.W {
				_, g, _, _ := img.At(x*6+3, y*6+3).RGBA()
				p.Row(y)[x] = float32(math.Exp2(float64(g)/100 - 17))
			}
		}
		rooms = append(rooms, room{p})
	}
	return rooms
}

// stand is where the tripod stands: a crop of a room.
type stand struct {
	room room
	x, y float64 // 0..1 of the room to spare
	zoom float64
}

func (s stand) pixel(x, y int, dx, dy float64) float64 {
	w, h := float64(s.room.light.W), float64(s.room.light.H)
	u := (w-viewW*s.zoom)*s.x + (float64(x)+dx)*s.zoom
	v := (h-viewH*s.zoom)*s.y + (float64(y)+dy)*s.zoom
	return float64(s.room.light.At(int(u), int(v)))
}

const viewW, viewH = 160, 107

// meter is the exposure in EV that puts the median at a mid tone.
func (s stand) meter() float64 {
	var l []float64
	for y := 0; y < viewH; y += 4 {
		for x := 0; x < viewW; x += 4 {
			l = append(l, s.pixel(x, y, 0, 0))
		}
	}
	slices.Sort(l)
	return math.Round(3*math.Log2(0.2/l[len(l)/2])) / 3
}

// shotFrame is a frame with the truth about it.
type shotFrame struct {
	Frame
	view   int
	stand  stand
	ev     float64
	dx, dy float64
	seed   uint64
	shown  *raster.Plane
}

// curve is the sRGB transfer function (IEC 61966-2-1) in 1000 steps.
var curve = func() (t [1001]float32) {
	for i := range t {
		v := float64(i) / 1000
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		t[i] = float32(math.Round(v*255) / 255)
	}
	return t
}()

// picture is what the camera's thumbnail of it shows.
func (s *shotFrame) picture() *raster.Plane {
	if s.shown != nil {
		return s.shown
	}
	rng := rand.New(rand.NewPCG(s.seed, 3))
	p := raster.New(viewW, viewH)
	gain := math.Exp2(s.ev)
	for y := range viewH {
		for x := range viewW {
			v := s.stand.pixel(x, y, s.dx, s.dy)*gain + 0.002*rng.NormFloat64()
			p.Row(y)[x] = curve[int(1000*max(0, min(1, v)))]
		}
	}
	s.shown = p
	return p
}

// photographer is a way to work.
type photographer struct {
	rng      *rand.Rand
	rooms    []room
	n        int
	step     float64
	order    int // 0 middle first, 1 rising, 2 falling, 3 middle, one side, other side
	auto     bool
	fixed    bool // manual exposure, the same for all views
	hand     bool
	counter  int
	now      time.Time
	frames   []shotFrame
	view     int
	base     float64
	lastBase float64
}

func newPhotographer(seed uint64, rooms []room) *photographer {
	rng := rand.New(rand.NewPCG(seed, 99))
	p := &photographer{rng: rng, rooms: rooms, now: time.Date(2026, 5, 14, 9, 0, 0, rng.IntN(1e9), time.UTC)}
	p.n = []int{1, 3, 3, 3, 5, 5, 5, 7, 9}[rng.IntN(9)]
	p.step = []float64{2. / 3, 1, 4. / 3, 2, 2, 2, 3}[rng.IntN(7)]
	p.order = []int{0, 0, 1, 1, 2, 3}[rng.IntN(6)]
	p.auto = rng.IntN(4) > 0
	p.fixed = rng.IntN(6) == 0
	p.hand = rng.IntN(4) == 0
	p.counter = rng.IntN(9999)
	if rooms == nil {
		for range 6 {
			p.rooms = append(p.rooms, newRoom(rng))
		}
	}
	return p
}

func (p *photographer) biases(n int) []float64 {
	b := make([]float64, n)
	for i := range b {
		b[i] = p.step * (float64(i) - float64(n-1)/2)
	}
	middle := b[n/2]
	switch p.order {
	case 0:
		slices.SortStableFunc(b, func(x, y float64) int {
			if d := math.Abs(x-middle) - math.Abs(y-middle); math.Abs(d) > 1e-9 {
				return sign(d)
			}
			return sign(x - y)
		})
	case 2:
		slices.Reverse(b)
	case 3:
		low, high := slices.Clone(b[:n/2]), slices.Clone(b[n/2+1:])
		slices.Reverse(low)
		b = append(append([]float64{middle}, low...), high...)
	}
	return b
}

// shoot takes one bracket. lose is a frame deleted afterwards, or -1.
func (p *photographer) shoot(s stand, n, lose int) {
	base := s.meter() + math.Round(3*0.4*p.rng.NormFloat64())/3
	if p.fixed {
		base = p.base
	}
	p.lastBase = base
	p.burst(s, p.biases(n), base, lose)
}

func (p *photographer) burst(s stand, biases []float64, base float64, lose int) {
	for i, b := range biases {
		ev := base + b
		seconds := math.Exp2(ev - 5) // f/8 and ISO 200 or the like: a scale
		f := shotFrame{view: p.view, stand: s, ev: ev, seed: p.rng.Uint64()}
		if p.hand {
			f.dx, f.dy = 1.2*p.rng.NormFloat64(), 1.2*p.rng.NormFloat64()
		}
		f.Path = fmt.Sprintf("/card/DCIM/%dLFELD/LF_%04d.JPG", 100+p.counter/10000, p.counter%10000)
		f.Info = metadata.Info{
			Make: "Larkfield", Model: "LF-1", Seconds: seconds, ISO: 200, FNumber: 8, FocalMM: 16,
			Time: p.now, Orientation: 1, Width: 6000, Height: 4000, Mode: metadata.ModeManual,
		}
		if p.auto && len(biases) > 1 {
			f.Info.Bias, f.Info.HasBias, f.Info.Mode = b, true, metadata.ModeBracket
		}
		p.counter++
		pause := 0.15 + 0.5*p.rng.Float64()
		if !p.auto {
			pause = 1.5 + 4*p.rng.Float64()
		}
		p.now = p.now.Add(time.Duration((seconds + pause) * 1e9))
		if i != lose {
			p.frames = append(p.frames, f)
		}
	}
	p.view++
}

func (p *photographer) wait(median, spread float64) {
	p.now = p.now.Add(time.Duration(1e9 * median * math.Exp(spread*p.rng.NormFloat64())))
}

// house shoots a whole house with the accidents of the trade.
func (p *photographer) house(views int) {
	p.base = p.rooms[0].at(0.5, 0.5).meter()
	for v := range views {
		s := p.rooms[v*len(p.rooms)/views].at(p.rng.Float64(), p.rng.Float64())
		if k := len(p.frames); k > 0 { // a new place is a new place
			for last := p.frames[k-1].stand; last.room == s.room && math.Hypot(last.x-s.x, last.y-s.y) < 0.3; {
				s = s.room.at(p.rng.Float64(), p.rng.Float64())
			}
		}
		n, lose := p.n, -1
		if p.rng.IntN(20) == 0 {
			n = 1
		}
		if n > 2 && p.rng.IntN(30) == 0 {
			lose = p.rng.IntN(n)
		}
		p.shoot(s, n, lose)
		if p.rng.IntN(15) == 0 { // again, to be sure: the same exposures
			p.wait(6, 0.5)
			p.burst(s, p.biases(n), p.lastBase, -1)
		}
		if p.rng.IntN(8) == 0 { // the next view is a step away
			p.wait(6, 0.3)
		} else {
			p.wait(45, 0.8)
		}
	}
}

func (r room) at(x, y float64) stand { return stand{r, x, y, 1} }

// result runs Views and counts the true views that were found exactly.
func (p *photographer) result(t testing.TB, change func(i int, f *Frame)) (right, total, calls int, text string) {
	frames := make([]Frame, len(p.frames))
	for i, f := range p.frames {
		frames[i] = f.Frame
		if change != nil {
			change(i, &frames[i])
		}
	}
	seen := make([]bool, len(frames))
	views, err := Views(context.Background(), frames, func(_ context.Context, i int) (*raster.Plane, error) {
		seen[i] = true
		return p.frames[i].picture(), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	count := 0
	for _, v := range views {
		ids := slices.Sorted(slices.Values(v.Frames))
		found[fmt.Sprint(ids)] = true
		count += len(ids)
	}
	if count != len(frames) {
		t.Fatalf("%d of %d frames are in a view", count, len(frames))
	}
	truth := map[int][]int{}
	for i, f := range p.frames {
		truth[f.view] = append(truth[f.view], i)
	}
	for v := range p.view {
		if ids := truth[v]; len(ids) > 0 {
			total++
			if found[fmt.Sprint(ids)] {
				right++
			} else {
				text += fmt.Sprintf("missed %v\n", ids)
			}
		}
	}
	for _, s := range seen {
		if s {
			calls++
		}
	}
	return right, total, calls, text + print(frames, views)
}

// ways are the states in which cards arrive.
var ways = []struct {
	name   string
	least  float64 // share of views that must be found exactly
	change func(i int, f *Frame)
}{
	{"all metadata", 0.985, nil},
	{"whole seconds", 0.985, func(_ int, f *Frame) { f.Info.Time = f.Info.Time.Truncate(time.Second) }},
	{"no bias tags", 0.985, func(_ int, f *Frame) {
		f.Info.HasBias, f.Info.Bias, f.Info.Mode = false, 0, metadata.ModeUnknown
	}},
	{"times all equal", 0.97, func(_ int, f *Frame) { f.Info.Time = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC) }},
	{"no times", 0.97, func(_ int, f *Frame) { f.Info.Time = time.Time{} }},
	{"no metadata", 0.95, func(_ int, f *Frame) {
		f.Info = metadata.Info{Orientation: 1, Mode: metadata.ModeUnknown, Width: 6000, Height: 4000}
	}},
}

func TestRandomPhotographers(t *testing.T) { randomPhotographers(t, nil, 1, 8) }

func TestRandomPhotographersInTheDemoHouse(t *testing.T) {
	randomPhotographers(t, demoRooms(t), 1000, 3)
}

func randomPhotographers(t *testing.T, rooms []room, seed uint64, count int) {
	var staff []*photographer
	for s := range uint64(count) {
		p := newPhotographer(seed+s, rooms)
		p.house(9)
		staff = append(staff, p)
	}
	for _, way := range ways {
		right, total, calls, frames := 0, 0, 0, 0
		for s, p := range staff {
			r, n, c, text := p.result(t, way.change)
			right, total, calls, frames = right+r, total+n, calls+c, frames+len(p.frames)
			if r < n && os.Getenv("MULLION_SHOW") == way.name {
				t.Logf("photographer %d: %d frames a view, %.2f EV, order %d, auto %v, fixed %v, hand %v\n%s", s, p.n, p.step, p.order, p.auto, p.fixed, p.hand, text)
			}
		}
		share := float64(right) / float64(total)
		t.Logf("%-16s %d of %d views exact (%.2f %%), %d of %d pictures looked at", way.name, right, total, 100*share, calls, frames)
		if share < way.least {
			t.Errorf("%s: %.2f %% of the views were found exactly, at least %.1f %% are asked for", way.name, 100*share, 100*way.least)
		}
	}
}
