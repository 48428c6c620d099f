package finish

import (
	"strings"
	"testing"

	"mullion/bracket"
	"mullion/metadata"
	"mullion/shoot"
)

// A level set by hand is done to the hundredth of a degree; one that nobody can mean
// is not done and told; one that would cost most of the picture is done in part and
// told.
func TestLevelByHandIsDoneOrTold(t *testing.T) {
	for _, c := range []struct {
		level     shoot.Level
		corrected bool
		code      string // of the finding, none when it is done
	}{
		{shoot.Level{PitchDeg: 0.02, RollDeg: -0.03}, true, ""},
		{shoot.Level{PitchDeg: -3, RollDeg: 1, YawDeg: 4}, true, ""},
		{shoot.Level{}, false, ""},
		{shoot.Level{PitchDeg: 1e9}, false, "level-beyond"},
		{shoot.Level{PitchDeg: 44}, true, "level-partly"},
	} {
		info := metadata.Info{FocalMM: 18, Focal35MM: 18, Orientation: 1}
		p := &picture{scene: &Scene{RGB: bars(900, 600), Merged: &bracket.Radiance{Info: info}}}
		if err := p.straighten(t.Context(), &c.level); err != nil {
			t.Fatal(err)
		}
		if p.plan.Corrected != c.corrected {
			t.Errorf("%+v: corrected %v", c.level, p.plan.Corrected)
		}
		told := ""
		for _, f := range p.findings {
			if strings.HasPrefix(f.Code, "level-") {
				told = f.Code
			}
		}
		if told != c.code {
			t.Errorf("%+v: finding %q, want %q", c.level, told, c.code)
		}
		if w, h := p.rgb.W(), p.rgb.H(); w*2 > h*3+3 || w*2 < h*3-3 {
			t.Errorf("%+v: %d x %d is no longer 3:2", c.level, w, h)
		}
	}
}
