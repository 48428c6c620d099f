package studio

import (
	"cmp"
	"encoding/base64"
	"fmt"
	"math"
	"slices"

	"mullion/finish"
	"mullion/internal/raster"
	"mullion/shoot"
)

// facts is what the page of a view knows about its picture.
type facts struct {
	ID       string     `json:"id"`
	Key      string     `json:"key"`
	Room     light      `json:"room"`
	Window   light      `json:"window"`
	Glass    glass      `json:"glass"`
	Level    levelFacts `json:"level"`
	Size     [2]int     `json:"size"`    // of the finished picture, pixels
	Preview  [2]int     `json:"preview"` // of the live one
	Frames   []frame    `json:"frames"`
	Findings []said     `json:"findings"`
	Edits    []edit     `json:"edits"`
	Dust     []spot     `json:"dust"` // where dust was mended
}

// spot is a round place: its middle and its radius in shares of the picture's width and
// height, the radius of the width.
type spot struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
	R float64 `json:"r"`
}

// light is one of the two lights as decided. Mired is the change of warmth; what counts
// as white then is 1e6 / (1e6/Measured - Mired) kelvin.
type light struct {
	EV       float64 `json:"ev"`
	Mired    float64 `json:"mired"`
	Duv      float64 `json:"duv"`
	Measured float64 `json:"measured"` // kelvin
	Kelvin   float64 `json:"kelvin"`
}

// glass is a small map of where the outside is seen: one byte a place.
type glass struct {
	W    int    `json:"w"`
	H    int    `json:"h"`
	Data string `json:"data"` // base64
}

type levelFacts struct {
	Pitch  float64 `json:"pitch"`
	Roll   float64 `json:"roll"`
	Yaw    float64 `json:"yaw"`
	ByHand bool    `json:"by_hand"`
	Note   string  `json:"note"`
}

type frame struct {
	EV   float64 `json:"ev"`
	Used bool    `json:"used"`
	Why  string  `json:"why,omitempty"`
	Time string  `json:"time,omitempty"`
	Key  string  `json:"key"` // names the picture of this exposure
}

type edit struct {
	ID     int        `json:"id"`
	Action string     `json:"action"`
	What   string     `json:"what"`
	Where  [4]float64 `json:"where"` // x, y, w, h in per cent of the picture
}

// factsOf gathers what is known of a live picture, but for the findings: they change with
// every run.
func factsOf(p *finish.Preview, v shoot.View, all []shoot.View) facts {
	d := v.Decisions
	f := facts{
		ID: v.ID, Key: finish.LookKey(v, all), Size: [2]int{p.W, p.H}, Preview: [2]int{p.RGB.W(), p.RGB.H()},
		Room:   lightOf(d.RoomEV, d.RoomWarmth, p.Room),
		Window: lightOf(d.WindowEV, d.WindowWarmth, p.Window),
		Glass:  glassOf(p.Glass),
		Level: levelFacts{
			Pitch: cut(p.Level.PitchDeg, 2), Roll: cut(p.Level.RollDeg, 2), Yaw: cut(p.Level.YawDeg, 2),
			ByHand: d.Level != nil, Note: p.Report.Plumb.Note,
		},
		Edits: []edit{}, Dust: []spot{},
	}
	for i, r := range p.Report.Frames {
		one := shoot.View{Frames: v.Frames[i : i+1], Decisions: shoot.Decisions{Level: d.Level}}
		f.Frames = append(f.Frames, frame{EV: cut(r.EV, 2), Used: r.Used, Why: r.Why, Time: exposureTime(r.Seconds), Key: finish.LookKey(one, nil)})
	}
	for i, e := range p.Report.Edits {
		one := edit{Action: string(e.Action), What: e.What, Where: [4]float64{e.Where.X, e.Where.Y, e.Where.W, e.Where.H}}
		if i < len(v.Edits) {
			one.ID = v.Edits[i].ID
		}
		f.Edits = append(f.Edits, one)
	}
	for _, s := range p.Dust {
		f.Dust = append(f.Dust, spot{cut(s.X, 4), cut(s.Y, 4), cut(s.R, 4)})
	}
	return f
}

func lightOf(ev *float64, w *shoot.Warmth, k finish.Kelvins) light {
	l := light{Measured: math.Round(k.Measured), Kelvin: math.Round(k.Kelvin)}
	if ev != nil {
		l.EV = *ev
	}
	if w != nil {
		l.Mired, l.Duv = w.Mired, w.Duv
	}
	return l
}

// glassOf makes the map 96 places wide.
func glassOf(p *raster.Plane) glass {
	if p == nil {
		return glass{}
	}
	const w = 96
	h := max(1, w*p.H/p.W)
	data := make([]byte, w*h)
	for y := range h {
		row := p.Row(min(p.H-1, (2*y+1)*p.H/(2*h)))
		for x := range w {
			data[y*w+x] = byte(255 * max(0, min(1, row[min(p.W-1, (2*x+1)*p.W/(2*w))])))
		}
	}
	return glass{w, h, base64.StdEncoding.EncodeToString(data)}
}

// Times that cameras name, a third of a stop apart (common practice, no source): the
// shorter ones as parts of a second, the longer ones in seconds.
var (
	parts   = []float64{8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160, 125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3, 2.5}
	seconds = []float64{0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30}
)

// exposureTime writes seconds as cameras do, to the nearest third of a stop: 1/60 s, 2.5 s.
func exposureTime(s float64) string {
	switch {
	case !(s > 0):
		return ""
	case s > 36:
		return fmt.Sprintf("%.0f s", s)
	case s > 0.45:
		return fmt.Sprintf("%g s", nearest(seconds, s))
	}
	return fmt.Sprintf("1/%g s", nearest(parts, 1/s))
}

// nearest is the entry of a list that is the fewest stops away.
func nearest(list []float64, v float64) float64 {
	return slices.MinFunc(list, func(a, b float64) int { return cmp.Compare(math.Abs(math.Log2(a/v)), math.Abs(math.Log2(b/v))) })
}

func cut(v float64, digits int) float64 {
	f := math.Pow10(digits)
	return math.Round(v*f) / f
}
