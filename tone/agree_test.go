package tone

import (
	"context"
	"encoding/json"
	"math"
	"testing"

	"mullion/internal/raster"
)

func walls(levels ...float64) []Anchors {
	var out []Anchors
	for _, l := range levels {
		out = append(out, Anchors{Wall: l, Dark: l - 5})
	}
	return out
}

func TestAgree(t *testing.T) {
	nothing := math.NaN()
	for _, c := range []struct {
		views []Anchors
		want  float64
	}{
		{nil, nothing},
		{walls(1), nothing},
		{walls(1, 1.4), 1.2},
		{walls(1, 6), nothing},           // no two within reach
		{walls(1.2, 1, 9), 1.2},          // one odd view changes nothing
		{walls(1.2, 1, -30), 1},          // nor does a black one
		{walls(3, math.NaN(), 3.2), 3.1}, // what is not a number has no voice
	} {
		got := Agree(c.views...)
		if got == nil != math.IsNaN(c.want) || got != nil && math.Abs(got.Wall-c.want) > 1e-9 {
			t.Errorf("%v: got %v, want %g", c.views, got, c.want)
		}
	}
	a, b := Agree(walls(1, 1.1, 1.6, 2)...), Agree(walls(2, 1.1, 1, 1.6)...)
	if *a != *b {
		t.Errorf("the order of the views matters: %v, %v", a, b)
	}
}

// A view is drawn by half a stop at most, never past what was agreed on, and an odd
// one is let go without a jump.
func TestDrawn(t *testing.T) {
	last := drawn(0, -4)
	for d := -4.0; d <= 4; d += 0.01 {
		moved := drawn(0, d)
		if math.Abs(moved) > mostDrawn+1e-9 || math.Abs(moved) > math.Abs(d)+1e-9 || moved*d < 0 {
			t.Fatalf("a view %.2f EV away moves by %.2f", d, moved)
		}
		if math.Abs(moved-last) > 0.011 {
			t.Fatalf("jump at %.2f EV", d)
		}
		if math.Abs(d) > oddTo+0.01 && moved != 0 {
			t.Fatalf("an odd view %.2f EV away moves by %.2f", d, moved)
		}
		last = moved
	}
}

// Two views of one wall, one with little of it, are raised alike after they agreed,
// and what they agree by survives JSON.
func TestViewsOfOneRoomMatch(t *testing.T) {
	plain, dim := flat(300, 200, 1, 1), flat(300, 200, 0.7, 0.2)
	var found []Anchors
	for _, img := range []*raster.RGB{plain, dim} {
		a, err := Measure(context.Background(), img, nil)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		var back Anchors
		if err := json.Unmarshal(text, &back); err != nil || back != a {
			t.Fatalf("%s: %v", text, err)
		}
		found = append(found, back)
	}
	match := Agree(found...)
	if match == nil {
		t.Fatal("two views half a stop apart do not agree")
	}
	_, a := render(t, plain, Params{Match: match})
	_, b := render(t, dim, Params{Match: match})
	if d := math.Abs(a.RoomEV - b.RoomEV); d > 1e-6 {
		t.Errorf("the same radiance is raised by %.3f EV more in one view", d)
	}
}

// One analysis serves many renderings: the radiance stays, the result is that of
// Render, and a draft is like it.
func TestViewRenders(t *testing.T) {
	ctx := context.Background()
	img := view(900, 600)
	v, err := Analyse(ctx, img, nil, Full)
	if err != nil {
		t.Fatal(err)
	}
	defer v.Release()
	dst := raster.NewRGB(900, 600)
	for _, p := range []Params{{RoomEV: 1}, {}} {
		if _, err := v.Render(ctx, dst, img, p); err != nil {
			t.Fatal(err)
		}
	}
	draft, err := Analyse(ctx, img, nil, Draft)
	if err != nil {
		t.Fatal(err)
	}
	defer draft.Release()
	quick := raster.NewRGB(900, 600)
	if _, err := draft.Render(ctx, quick, img, Params{}); err != nil {
		t.Fatal(err)
	}
	want, _ := render(t, img, Params{}) // written over img
	var off float64
	for c := range want {
		for i, w := range want[c].Pix {
			if dst[c].Pix[i] != w {
				t.Fatalf("channel %d, pixel %d: %g by the view, %g by Render", c, i, dst[c].Pix[i], w)
			}
			off += math.Abs(float64(quick[c].Pix[i] - w))
		}
	}
	if off /= 3 * 900 * 600; off > 0.01 {
		t.Errorf("the draft is off by %.4f on average", off)
	}
	if _, err := v.Render(ctx, raster.NewRGB(600, 600), raster.NewRGB(600, 600), Params{}); err != ErrFraming {
		t.Errorf("another framing: %v", err)
	}
}

func BenchmarkView1600(b *testing.B) {
	ctx := context.Background()
	img := view(1600, 1067)
	dst := raster.NewRGB(1600, 1067)
	for name, size := range map[string]Fineness{"full": Full, "draft": Draft} {
		b.Run(name, func(b *testing.B) {
			v, err := Analyse(ctx, img, nil, size)
			if err != nil {
				b.Fatal(err)
			}
			defer v.Release()
			for b.Loop() {
				if _, err := v.Render(ctx, dst, img, Params{WindowEV: -0.5}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
