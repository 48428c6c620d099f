package finish

import (
	"math"
	"strings"
	"testing"

	"mullion/internal/raster"
	"mullion/lens"
	"mullion/metadata"
	"mullion/plumb"
)

// bars is a stored picture of w x h pixels with upright and level bars.
func bars(w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for c := range m {
		for y := range h {
			row := m[c].Row(y)
			for x := range row {
				row[x] = 0.1
				if x/90%2 == 0 != (y > h/2 && y/120%2 == 0) {
					row[x] = 0.8
				}
			}
		}
	}
	return m
}

// A view's evidence is of the upright picture whichever way the sensor lay, and
// names the lens's setting the same for both.
func TestEvidenceIsUpright(t *testing.T) {
	var settings [2]string
	for i, o := range []int{1, 6} {
		info := metadata.Info{Make: "Lindenfeld", Model: "LF-1", Lens: "LF 14-24", FocalMM: 14, Focal35MM: 14, Orientation: o}
		e, err := evidenceOf(t.Context(), bars(900, 600), info)
		if err != nil {
			t.Fatal(err)
		}
		w, h := 900, 600
		if o == 6 {
			w, h = 600, 900
		}
		if e.View.W != w || e.View.H != h || len(e.Lines) < 10 {
			t.Errorf("orientation %d: %d x %d with %d lines", o, e.View.W, e.View.H, len(e.Lines))
		}
		if f := e.View.FocalPx; math.Abs(f-14*900/36) > 1 {
			t.Errorf("orientation %d: focal length %.1f px", o, f)
		}
		settings[i] = e.View.Setting
	}
	if settings[0] == "" || settings[0] != settings[1] {
		t.Errorf("settings %q", settings)
	}
}

// What the shoot found about the lens is used for the view and told as a finding.
func TestSharedLensIsUsedAndTold(t *testing.T) {
	p := &picture{around: neighbours{Plumb: plumb.Shared{Profile: lens.New("estimated", "estimated from the straight lines of 5 views"), Views: 5,
		Note: "Lens distortion estimated from the straight lines of 5 views."}}}
	p.around.Plumb.Profile.Distortion = lens.Radial{1, 0, -0.05}
	info := metadata.Info{FocalMM: 14, Focal35MM: 14, Orientation: 1}
	if err := p.measure(t.Context(), bars(900, 600), info, 900, 600, nil); err != nil {
		t.Fatal(err)
	}
	if p.pose.Profile != p.around.Plumb.Profile {
		t.Errorf("the view was measured with the lens %+v", p.pose.Profile)
	}
	if len(p.findings) != 1 || p.findings[0].Code != "lens-estimated" || p.findings[0].Value != 5 || !strings.Contains(p.findings[0].Message, "5 views") {
		t.Errorf("findings %+v", p.findings)
	}
}
