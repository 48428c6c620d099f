package finish

import (
	"path/filepath"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/jpegfile"
	"mullion/shoot"
)

// largeFrames are the files of a view whose frames have more pixels than a sounding
// looks at and than a listing needs: 3420 x 2280.
func largeFrames(t *testing.T) (card string, paths []string) {
	s := small()
	s.Scale = 1.9
	card = filepath.Join(t.TempDir(), "card")
	_, paths = photograph(t, card, s, scenes(t, "guest")...)
	return card, paths
}

// What a large view looks like depends on nothing but the view: with a sheet of all
// pixels beside it a listing's file is the same but for the grain of edges, and the live
// picture has its light.
func TestSheetsDoNotDecide(t *testing.T) {
	card, _ := largeFrames(t)
	listed := func(sheets ...string) (*jpegfile.Image, *Report) {
		r := run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "shoot"), Sheets: sheets})
		m, err := jpegfile.Decode(read(t, r.Views[0].Files[0].Path), 0)
		if err != nil {
			t.Fatal(err)
		}
		return m, r
	}
	alone, a := listed("listing-small")
	beside, b := listed("listing-small", "print")
	if alone.W != beside.W || alone.H != beside.H {
		t.Fatalf("%d x %d alone, %d x %d beside a print", alone.W, alone.H, beside.W, beside.H)
	}
	if a.Views[0].Light != b.Views[0].Light || a.Views[0].Tone != b.Views[0].Tone {
		t.Errorf("%+v %+v alone, %+v %+v beside a print", a.Views[0].Light, a.Views[0].Tone, b.Views[0].Light, b.Views[0].Tone)
	}
	db := psnr(t, planes(alone), planes(beside))
	soft := psnr(t, softened(t, planes(alone)), softened(t, planes(beside)))
	t.Logf("%.1f dB apart, %.1f dB without edges", db, soft)
	if db < 46 || soft < 55 {
		t.Errorf("the listing's file is %.1f dB from what it is beside a print, %.1f dB without edges; want 46 and 55", db, soft)
	}

	dir := filepath.Dir(filepath.Dir(filepath.Dir(a.Views[0].Files[0].Path)))
	doc, err := shoot.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	live, err := NewPreviews(dir, 1<<30).Make(t.Context(), doc.Views[0])
	if err != nil {
		t.Fatal(err)
	}
	if live.Report.Light != a.Views[0].Light || live.Report.Tone != a.Views[0].Tone {
		t.Errorf("the live picture has %+v %+v, the finished one %+v %+v", live.Report.Light, live.Report.Tone, a.Views[0].Light, a.Views[0].Tone)
	}
}

// planes has the light of an image.
func planes(m *jpegfile.Image) *raster.RGB {
	out := raster.NewRGB(m.W, m.H)
	for y := range m.H {
		for x := range m.W {
			for c := range out {
				out[c].Row(y)[x] = float32(colour.DecodeSRGB(float64(m.Pix[3*(y*m.W+x)+c]) / 255))
			}
		}
	}
	return out
}

// softened is a picture without anything finer than a few pixels.
func softened(t *testing.T, m *raster.RGB) *raster.RGB {
	out := m.Clone()
	for _, p := range out {
		if err := raster.Gauss(t.Context(), p, p, 4); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// A large mosaic is sounded by its cells, without interpolation: the picture that would
// be made of them is the one that the interpolated view gives. What is left of a
// difference are edges, since the colours of a cell lie half a cell apart.
func TestSmallSceneIsTheScene(t *testing.T) {
	_, paths := largeFrames(t)
	picture := func(shrink bool) *raster.RGB {
		s, err := mergeFrames(t.Context(), paths, nil)
		if err != nil {
			t.Fatal(err)
		}
		if shrink {
			half, err := cells(t.Context(), s.Merged.Mosaic, s.Merged.CFA)
			if err != nil {
				t.Fatal(err)
			}
			if s, err = s.small(t.Context(), half, soundEdge); err != nil {
				t.Fatal(err)
			}
		} else {
			if err := s.develop(t.Context(), nil); err != nil {
				t.Fatal(err)
			}
			w, h := within(s.RGB.W(), s.RGB.H(), soundEdge)
			for c, p := range s.RGB {
				if s.RGB[c], err = raster.Shrink(t.Context(), p, w, h); err != nil {
					t.Fatal(err)
				}
			}
		}
		rgb, _, err := s.Unbent(t.Context(), shoot.Decisions{})
		if err != nil {
			t.Fatal(err)
		}
		return rgb
	}
	got, want := picture(true), picture(false)
	db, soft := psnr(t, got, want), psnr(t, softened(t, got), softened(t, want))
	t.Logf("%d x %d: %.1f dB, %.1f dB without edges", got.W(), got.H(), db, soft)
	if db < 36 || soft < 40 {
		t.Errorf("the picture of the cells is %.1f dB from that of the interpolated view, %.1f dB without edges; want 36 and 40", db, soft)
	}
}
