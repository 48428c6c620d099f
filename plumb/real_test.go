package plumb

import (
	"context"
	"encoding/json"
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"testing"

	"mullion/internal/raster"
	"mullion/warp"
)

// readCoded returns the luma of a display-coded picture, 0 to 1.
func readCoded(tb testing.TB, path string) *raster.Plane {
	f, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		tb.Fatal(err)
	}
	b := img.Bounds()
	p := raster.New(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl, _ := img.At(b.Min.X+x, b.Min.Y+y).RGBA()
			p.Pix[y*p.W+x] = float32(0.2126*float64(r)+0.7152*float64(g)+0.0722*float64(bl)) / 65535
		}
	}
	return p
}

type corner struct{ X1, Y1, X2, Y2, LeanDeg float64 }

// forward finds the output place that comes from (x, y), by Newton's method.
func forward(m warp.Map, x, y float64) (float64, float64) {
	u, v := x, y
	for range 30 {
		const h = 0.5
		sx, sy := m.At(u, v)
		ax, ay := m.At(u+h, v)
		bx, by := m.At(u, v+h)
		a, b, c, d := (ax-sx)/h, (bx-sx)/h, (ay-sy)/h, (by-sy)/h
		det := a*d - b*c
		u -= (d*(sx-x) - b*(sy-y)) / det
		v -= (a*(sy-y) - c*(sx-x)) / det
	}
	return u, v
}

func meanLean(corners []corner, m *warp.Map) float64 {
	var sum float64
	for _, c := range corners {
		x1, y1, x2, y2 := c.X1-0.5, c.Y1-0.5, c.X2-0.5, c.Y2-0.5 // their pixels count from 1
		if m != nil {
			x1, y1 = forward(*m, x1, y1)
			x2, y2 = forward(*m, x2, y2)
		}
		sum += math.Abs(deg(math.Atan2(x2-x1, y2-y1)))
	}
	return sum / float64(len(corners))
}

// Photographs of rooms with corners marked by hand (Hedau, Hoiem & Forsyth, ICCV
// 2009, layout labels; good to 0.5-1 degree), without focal lengths: the mean
// lean of the corners falls wherever it is more than 1 degree, and none that
// stands upright within 0.6 degrees leans more than that afterwards.
func TestHandMarkedCorners(t *testing.T) {
	b, err := os.ReadFile(testdata(t, "realdata", "verticals", "ground_truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Images []struct {
			File            string
			Width, Height   int
			VerticalCorners []corner
		}
	}
	if err := json.Unmarshal(b, &truth); err != nil {
		t.Fatal(err)
	}
	var leaning, better int
	var sumBefore, sumAfter float64
	for _, i := range truth.Images {
		if len(i.VerticalCorners) == 0 {
			continue
		}
		luma := readCoded(t, testdata(t, "realdata", "verticals", i.File))
		p, err := Measure(context.Background(), luma, View{W: luma.W, H: luma.H})
		if err != nil {
			t.Fatal(err)
		}
		g := p.Plan(luma.W, luma.H, PlanOptions{})
		before, after := meanLean(i.VerticalCorners, nil), meanLean(i.VerticalCorners, &g.Map)
		t.Logf("%-32s %4dx%-4d lean %.2f -> %.2f  pitch %+.2f roll %+.2f f %.2f n %d res %.2f conf %.2f kept %.2f bent %v corrected %v",
			i.File, luma.W, luma.H, before, after, p.PitchDeg, p.RollDeg, p.FocalPx/float64(max(luma.W, luma.H)), p.Verticals, p.ResidualDeg, p.Confidence, g.CropKept, p.Profile != nil, g.Corrected)
		if before > 1 {
			leaning++
			sumBefore, sumAfter = sumBefore+before, sumAfter+after
			if after < before {
				better++
			}
		}
		if before < 0.6 && after > 0.6 {
			t.Errorf("%s: leaned %.2f degrees, now %.2f", i.File, before, after)
		}
	}
	t.Logf("%d of %d leaning pictures lean less; mean lean %.2f -> %.2f degrees", better, leaning, sumBefore/float64(leaning), sumAfter/float64(leaning))
	// Some marks contradict the other verticals of their picture (a corner that
	// leans against a bookcase beside it), so not every one can fall.
	if better*10 < leaning*6 || sumAfter > 0.7*sumBefore {
		t.Errorf("%d of %d lean less, %.2f of the lean is left", better, leaning, sumAfter/sumBefore)
	}
}
