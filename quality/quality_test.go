package quality

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
)

func scene(w, h int) *raster.Plane {
	rng := rand.New(rand.NewPCG(1, 9))
	p := raster.New(w, h)
	for y := range h {
		for x := range w {
			p.Row(y)[x] = float32(math.Exp2(3*math.Sin(float64(x)/17)+2*math.Cos(float64(y)/11)) * (1 + 0.2*rng.Float64()))
		}
	}
	return p
}

func each(p *raster.Plane, f func(float64) float64) *raster.Plane {
	q := raster.New(p.W, p.H)
	for i, v := range p.Pix {
		q.Pix[i] = float32(f(float64(v)))
	}
	return q
}

func clip(v float64) float64 { return max(0, min(255, v)) }

func TestTMQI(t *testing.T) {
	ctx := context.Background()
	r := scene(240, 200)
	tone := func(f func(float64) float64) Tone {
		q, err := TMQI(ctx, r, each(r, f))
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	log := tone(func(v float64) float64 { return clip(120 + 20*math.Log2(v)) })
	flat := tone(func(float64) float64 { return 120 })
	hard := tone(func(v float64) float64 { return clip(v * 200) })
	if !(log.Fidelity > hard.Fidelity && hard.Fidelity > flat.Fidelity) {
		t.Errorf("fidelity: log %.3f, clipped %.3f, flat %.3f", log.Fidelity, hard.Fidelity, flat.Fidelity)
	}
	if inverted := tone(func(v float64) float64 { return clip(120 - 20*math.Log2(v)) }); inverted.Fidelity > 0.1 {
		t.Errorf("inverted picture: fidelity %.3f", inverted.Fidelity)
	}
	if q := 0.8012*math.Pow(log.Fidelity, 0.3046) + 0.1988*math.Pow(log.Naturalness, 0.7088); math.Abs(q-log.Q) > 1e-9 {
		t.Errorf("Q %.4f, want %.4f", log.Q, q)
	}
	// Another unit of radiance changes nothing.
	again, _ := TMQI(ctx, each(r, func(v float64) float64 { return v * 37 }), each(r, func(v float64) float64 { return clip(120 + 20*math.Log2(v)) }))
	if math.Abs(again.Q-log.Q) > 1e-4 {
		t.Errorf("Q depends on the unit: %.5f, %.5f", again.Q, log.Q)
	}
}

func TestMEFSSIM(t *testing.T) {
	ctx := context.Background()
	r := scene(120, 100)
	shot := func(k float64) *raster.Plane {
		return each(r, func(v float64) float64 { return clip(255 * math.Pow(v*k, 1/2.2)) })
	}
	exposures := []*raster.Plane{shot(0.01), shot(0.1), shot(1)}
	score := func(p *raster.Plane) float64 {
		s, err := MEFSSIM(ctx, exposures, p)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	one, _ := MEFSSIM(ctx, exposures[1:2], exposures[1])
	if math.Abs(one-1) > 1e-6 {
		t.Errorf("a picture against itself: %.6f, want 1", one)
	}
	fused := score(each(r, func(v float64) float64 { return clip(128 + 22*math.Log2(v)) }))
	for i, e := range exposures {
		if s := score(e); s >= fused {
			t.Errorf("exposure %d scores %.3f, the fused picture %.3f", i, s, fused)
		}
	}
	// Blind to brightness, by the formula.
	p := each(r, func(v float64) float64 { return 60 + 10*math.Log2(v) })
	if a, b := score(p), score(each(p, func(v float64) float64 { return v + 40 })); math.Abs(a-b) > 1e-6 {
		t.Errorf("brightness matters: %.6f, %.6f", a, b)
	}
}

func TestSizes(t *testing.T) {
	a, b := raster.New(200, 200), raster.New(200, 201)
	if _, err := TMQI(context.Background(), a, b); err != ErrSize {
		t.Errorf("TMQI: %v", err)
	}
	if _, err := MEFSSIM(context.Background(), []*raster.Plane{a}, b); err != ErrSize {
		t.Errorf("MEFSSIM: %v", err)
	}
}

func BenchmarkTMQI(b *testing.B) {
	r := scene(600, 400)
	p := each(r, func(v float64) float64 { return clip(120 + 20*math.Log2(v)) })
	for b.Loop() {
		if _, err := TMQI(context.Background(), r, p); err != nil {
			b.Fatal(err)
		}
	}
}
