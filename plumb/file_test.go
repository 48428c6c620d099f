package plumb

import (
	"math"
	"testing"

	"mullion/metadata"
)

// The 35 mm equivalent from what a file says. Sensor sizes are those the makers
// publish (22.2 x 14.8 mm for the third camera, 36 x 24 mm for the first); the odd
// resolutions are what real files hold.
func TestEquivalent(t *testing.T) {
	for _, c := range []struct {
		name       string
		info       metadata.Info
		want, give float64
	}{
		{"the tag alone", metadata.Info{Focal35MM: 14, FocalMM: 14.5, Model: "LF-1"}, 14, 0},
		{"no tag, known camera", metadata.Info{Make: "Canon", Model: "Canon EOS 5D Mark II", FocalMM: 24, SensorMM: 44.6}, 24, 0.3},
		{"no tag, known small sensor", metadata.Info{Make: "Canon", Model: "Canon EOS 450D", FocalMM: 10}, 10 * 43.27 / 26.68, 0.2},
		{"a rounded tag, known camera", metadata.Info{Make: "Nikon Corporation", Model: "Nikon D90", FocalMM: 10.5, Focal35MM: 15}, 10.5 * 43.27 / 28.4, 0.3},
		{"a model without its maker's name", metadata.Info{Make: "Canon", Model: "EOS 5D Mark II", FocalMM: 16}, 16, 0.2},
		{"a part of the sensor", metadata.Info{Make: "Nikon Corporation", Model: "Nikon D3", FocalMM: 24, Focal35MM: 36}, 36, 0},
		{"an unknown camera's focal plane", metadata.Info{Model: "LF-2", FocalMM: 12, SensorMM: 28.2}, 12 * 43.27 / 28.2, 0.01},
		{"a file made smaller", metadata.Info{Model: "LF-2", FocalMM: 28, SensorMM: 7.9}, 0, 0},
		{"nothing", metadata.Info{}, 0, 0},
	} {
		if got := equivalent(c.info); math.Abs(got-c.want) > c.give {
			t.Errorf("%s: %.2f mm, want %.2f", c.name, got, c.want)
		}
	}
}
