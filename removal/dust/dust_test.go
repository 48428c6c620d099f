package dust

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"mullion/internal/raster"
)

var ctx = context.Background()

// grainOfDust is a shadow in the tests: an obstruction seen through a wide cone of
// light, which is a disc with a soft edge.
type grainOfDust struct{ x, y, radius, depth float64 }

func (g grainOfDust) left(x, y float64) float64 {
	d := math.Hypot(x-g.x, y-g.y) / g.radius
	return 1 - g.depth/(1+math.Exp((d-0.75)*14))
}

// room is a view: walls with gradients and grain, furniture with hard edges, and
// some dark knobs of its own, all elsewhere in every view.
func room(seed uint64, w, h int) *raster.Plane {
	r := rand.New(rand.NewPCG(seed, 7))
	p := raster.New(w, h)
	gx, gy, level := r.Float64()*0.5, r.Float64()*0.5, 0.5+r.Float64()
	for y := range h {
		for x := range w {
			v := level * (1 + gx*float64(x)/float64(w) - gy*float64(y)/float64(h))
			p.Row(y)[x] = float32(v * (1 + 0.01*r.NormFloat64()))
		}
	}
	for range 6 {
		x, y, bw, bh := r.IntN(w-100), r.IntN(h-100), 40+r.IntN(60), 40+r.IntN(60)
		k := float32(0.3 + r.Float64())
		for j := y; j < y+bh; j++ {
			for i := x; i < x+bw; i++ {
				p.Row(j)[i] *= k
			}
		}
	}
	for range 5 {
		soil(p, grainOfDust{r.Float64() * float64(w), r.Float64() * float64(h), 6, 0.3})
	}
	return p
}

func soil(p *raster.Plane, g grainOfDust) {
	for y := max(0, int(g.y-2*g.radius)); y < min(p.H, int(g.y+2*g.radius)); y++ {
		for x := max(0, int(g.x-2*g.radius)); x < min(p.W, int(g.x+2*g.radius)); x++ {
			p.Row(y)[x] *= float32(g.left(float64(x)+0.5, float64(y)+0.5))
		}
	}
}

const tw, th = 900, 600

var grains = []grainOfDust{{200, 150, 5, 0.12}, {610, 90, 4, 0.2}, {450, 420, 8, 0.08}, {780, 510, 6, 0.15}}

func grey(p *raster.Plane) *raster.RGB { return &raster.RGB{p, p, p} }

func look(t testing.TB, p *raster.RGB) *Evidence {
	t.Helper()
	e, err := Look(ctx, p, 100, "camera f/8")
	if err != nil {
		t.Fatal(err)
	}
	// What is kept is what was found.
	data, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	again := &Evidence{}
	if err := json.Unmarshal(data, again); err != nil {
		t.Fatal(err)
	}
	if len(data) > 64<<10 {
		t.Errorf("a view's evidence is %d bytes", len(data))
	}
	return again
}

func solved(views []*Evidence) []Spot { return Solve(views)["camera f/8"] }

func find(t *testing.T, views int, dusty bool) ([]Spot, []*raster.Plane, []*raster.Plane) {
	t.Helper()
	var all []*Evidence
	var clean, dirty []*raster.Plane
	for v := range views {
		p := room(uint64(v+1), tw, th)
		clean = append(clean, p.Clone())
		if dusty {
			for _, g := range grains {
				soil(p, g)
			}
		}
		dirty = append(dirty, p)
		all = append(all, look(t, grey(p)))
	}
	return solved(all), clean, dirty
}

func TestDustIsFoundAndNothingElse(t *testing.T) {
	spots, _, _ := find(t, 8, true)
	if len(spots) != len(grains) {
		t.Errorf("%d spots, there are %d grains: %+v", len(spots), len(grains), spots)
	}
	for _, g := range grains {
		ok := false
		for _, s := range spots {
			if math.Hypot(s.X*tw-g.x, s.Y*tw-g.y) < 1 {
				ok = true
				if want := -math.Log2(1 - g.depth); math.Abs(s.Depth()-want) > 0.25*want {
					t.Errorf("the grain at %g,%g is %.3f EV deep, found %.3f", g.x, g.y, want, s.Depth())
				}
			}
		}
		if !ok {
			t.Errorf("the grain at %g,%g was not found", g.x, g.y)
		}
	}
}

func TestMendingTakesTheShadowOut(t *testing.T) {
	spots, clean, dirty := find(t, 8, true)
	before, after := 0.0, 0.0
	for v := range dirty {
		img := &raster.RGB{dirty[v].Clone(), dirty[v].Clone(), dirty[v].Clone()}
		if err := Mend(ctx, img, spots); err != nil {
			t.Fatal(err)
		}
		for _, g := range grains {
			for dy := -8; dy <= 8; dy++ {
				for dx := -8; dx <= 8; dx++ {
					x, y := int(g.x)+dx, int(g.y)+dy
					c := float64(clean[v].Row(y)[x])
					before += math.Pow(float64(dirty[v].Row(y)[x])/c-1, 2)
					after += math.Pow(float64(img[1].Row(y)[x])/c-1, 2)
				}
			}
		}
		if img[0].Row(300)[300] != dirty[v].Row(300)[300] {
			t.Error("a pixel far from any spot changed")
		}
	}
	if ratio := math.Sqrt(after / before); ratio > 0.3 {
		t.Errorf("%.2f of the shadows is left", ratio)
	}
}

func TestRealSpotsStay(t *testing.T) {
	if spots, _, _ := find(t, 8, false); len(spots) != 0 {
		t.Errorf("clean views have dust: %+v", spots)
	}
	// A dark knob in one view, at a place where all others are plain; then in four
	// views of one composition, which is still one knob; then a red lamp that happens
	// to be at one place in four rooms.
	knob := grainOfDust{450, 300, 7, 0.4}
	var one, same, red []*Evidence
	for v := range 6 {
		p := room(uint64(v+40), tw, th)
		q := p.Clone()
		if v == 2 {
			soil(q, knob)
		}
		one = append(one, look(t, grey(q)))
		again := room(40, tw, th)
		soil(again, knob)
		for i := range again.Pix {
			again.Pix[i] *= float32(1 + .1*float64(v))
		}
		same = append(same, look(t, grey(again)))
		plain := p.Clone()
		soil(p, knob)
		red = append(red, look(t, &raster.RGB{plain, p, p}))
	}
	for what, views := range map[string][]*Evidence{"a knob in one view": one, "a knob in six views of one composition": same, "a red spot": red} {
		if spots := solved(views); len(spots) != 0 {
			t.Errorf("%s is taken for dust: %+v", what, spots)
		}
	}
}

func TestTooFewViews(t *testing.T) {
	if spots, _, _ := find(t, 2, true); len(spots) != 0 {
		t.Errorf("two views are enough for %d spots", len(spots))
	}
}

// The order of the views and the other groups among them change nothing.
func TestSolvingDoesNotDependOnOrder(t *testing.T) {
	var views []*Evidence
	for v := range 7 {
		p := room(uint64(v+1), tw, th)
		for _, g := range grains {
			soil(p, g)
		}
		views = append(views, look(t, grey(p)))
	}
	want := solved(views)
	slices.Reverse(views)
	other := *views[0]
	other.Group = "another camera"
	views = append(views, &other, nil)
	if got := solved(views); len(want) == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("in reverse\n%+v\nwant\n%+v", got, want)
	}
}

// What is blown out shows no shadow, and its plainness is no proof against one.
func TestClippedViewsTellNothing(t *testing.T) {
	var views []*Evidence
	for v := range 8 {
		p := room(uint64(v+1), tw, th)
		for _, g := range grains {
			soil(p, g)
		}
		if v >= 4 {
			p.Fill(100)
		}
		views = append(views, look(t, grey(p)))
	}
	if spots := solved(views); len(spots) < len(grains)-1 {
		t.Errorf("%d spots of %d beside blown out views", len(spots), len(grains))
	}
}

func BenchmarkLook(b *testing.B) {
	p := grey(room(3, 3000, 2000))
	for b.Loop() {
		if _, err := Look(ctx, p, 100, ""); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSolve(b *testing.B) {
	var views []*Evidence
	for v := range 30 {
		views = append(views, look(b, grey(room(uint64(v), 1500, 1000))))
	}
	for b.Loop() {
		Solve(views)
	}
}
