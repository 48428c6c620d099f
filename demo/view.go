// Package demo holds an invented house, rendered by our own path tracer, and
// photographs it: the card that a newcomer tries the program on, and the truth
// that tests measure pictures against.
//
// Eight views come as radiance (see the README beside the data) with the pose of
// the camera, the lens distortion, the outlines of the windows and the light of
// every view. [Write] fills a card with them through the simulated camera of
// package simcam; [Truth] hands out what is known about one.
package demo

import (
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"strings"
	"sync"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/simcam"
)

//go:embed house
var house embed.FS

// View is one composition of the house with what is known about it. Pixel
// coordinates are those of the upright picture, pixel centres at +0.5.
type View struct {
	Name   string // entry, living, dining, kitchen, kitchenwide, guest, bath, shower
	Title  string
	Width  int
	Height int
	Camera Pose
	// Windows outlines the window openings as the lens shows them.
	Windows []Window
	Lights  []Light

	Files []string `json:"radiance"`    // one, or one a frame where something moves
	Mask  string   `json:"window_mask"` // empty without a window
}

// Pose is where the camera stood and how its lens draws. Yaw is 0 to the north
// and positive to the right, pitch is positive upwards, roll positive clockwise
// seen from behind the camera.
type Pose struct {
	FocalMM  float64    `json:"focal_mm"`
	SensorMM [2]float64 `json:"sensor_mm"`
	Position [3]float64 `json:"position_m"`
	Yaw      float64    `json:"yaw_deg"`
	Pitch    float64    `json:"pitch_deg"`
	Roll     float64    `json:"roll_deg"`
	Right    [3]float64 // axes of the picture in the house's coordinates
	Down     [3]float64
	Forward  [3]float64
	FocalPx  float64    `json:"focal_px"`
	Centre   [2]float64 `json:"centre_px"`
	// K1 and K2 are Brown's radial coefficients: distorted = undistorted x
	// (1 + K1 r^2 + K2 r^4), r the undistorted radius in focal lengths.
	K1, K2 float64
}

// Window is one window and its outline in pixels.
type Window struct {
	Name    string
	Polygon [][2]float64 `json:"polygon_px"`
}

// Light is one kind of light in the view as it falls on white inside.
type Light struct {
	Group string      // daylight or lamps
	Share float64     // of the interior's light, 0..1
	White colour.Vec3 `json:"white_bt2020"` // linear BT.2020 of white, 1.0 = 100 cd/m2
	XY    [2]float64
	CCT   float64 `json:"cct_k"`
}

var views = sync.OnceValue(func() []View {
	b, err := house.ReadFile("house/truth.json")
	if err != nil {
		panic(err)
	}
	var v []View
	if err := json.Unmarshal(b, &v); err != nil {
		panic(fmt.Sprintf("demo: truth.json: %v", err))
	}
	return v
})

// Views returns all views in the order a visitor walks.
func Views() []View { return append([]View(nil), views()...) }

// Truth returns the view of the given name.
func Truth(name string) (View, error) {
	var names []string
	for _, v := range views() {
		if v.Name == name {
			return v, nil
		}
		names = append(names, v.Name)
	}
	return View{}, fmt.Errorf("the demo house has no view %q: it has %s", name, strings.Join(names, ", "))
}

// Radiance returns the view's radiance: linear BT.2020, 1.0 = 100 cd/m2,
// upright, unclipped. Where something moves, frame 0 to 4 is what each step of
// the bracket saw, darkest first; elsewhere every frame is the same.
func (v View) Radiance(ctx context.Context, frame int) (*raster.RGB, error) {
	if frame < 0 || len(v.Files) > 1 && frame >= len(v.Files) || len(v.Files) == 0 {
		return nil, fmt.Errorf("demo view %q has no frame %d", v.Name, frame)
	}
	if len(v.Files) == 1 {
		frame = 0
	}
	f, err := house.Open("house/" + v.Files[frame])
	if err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	defer f.Close()
	return simcam.ReadRadiance(ctx, f)
}

// WindowMask returns the share of each pixel, 0..1, that sees the outside
// directly through glass. It is all zero where there is no window.
func (v View) WindowMask() (*raster.Plane, error) {
	out := raster.New(v.Width, v.Height)
	if v.Mask == "" {
		return out, nil
	}
	f, err := house.Open("house/" + v.Mask)
	if err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("demo: %s: %w", v.Mask, err)
	}
	g, ok := m.(*image.Gray)
	if !ok || g.Rect.Dx() != v.Width || g.Rect.Dy() != v.Height {
		return nil, fmt.Errorf("demo: %s is no 8-bit grey mask of %d x %d", v.Mask, v.Width, v.Height)
	}
	for y := range v.Height {
		row := out.Row(y)
		for x := range row {
			row[x] = float32(g.Pix[y*g.Stride+x]) / 255
		}
	}
	return out, nil
}

// Scene returns the view as the simulated camera takes it.
func (v View) Scene() simcam.View {
	s := simcam.View{Name: v.Name, FocalMM: v.Camera.FocalMM}
	for i := range v.Files {
		s.Scenes = append(s.Scenes, func(ctx context.Context) (*raster.RGB, error) { return v.Radiance(ctx, i) })
	}
	for _, l := range v.Lights {
		for i := range s.Light {
			s.Light[i] += l.White[i]
		}
	}
	return s
}
