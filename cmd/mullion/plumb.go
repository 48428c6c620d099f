package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"

	"mullion/plumb"
)

type plumbCmd struct {
	Files    []string  `arg:"" optional:"" name:"file" help:"Pictures of any kind, with or without camera data."`
	JSON     bool      `name:"json" help:"Print one JSON document; its fields are listed above."`
	FocalPx  float64   `name:"focal-px" placeholder:"F" help:"The focal length in pixels, when the file doesn't say it or says it wrongly."`
	Centre   []float64 `name:"centre" placeholder:"X,Y" help:"The optical axis in pixels from the top left corner, where it is not in the middle."`
	Segments string    `placeholder:"FILE.csv" help:"Take these line segments instead of a picture: one x1,y1,x2,y2 a line, in pixels; a first line of these names may say another order."`
	Size     string    `placeholder:"WxH" help:"The size of the picture the segments belong to, in pixels."`
}

// Help documents what is measured and the fields of the JSON document.
func (c *plumbCmd) Help() string {
	return `Measures how the camera was held; nothing is changed. Degrees: pitch + looks up,
roll + is turned clockwise seen from behind, yaw + is turned right of the room's
nearest axis (-45 to 45). Pixels count from the top left corner of the upright
picture, the first pixel's centre at 0.5.

--json prints a list with one object a picture:
  file               as given
  width, height      of the upright picture in pixels
  pitch_deg, roll_deg, yaw_deg
  sigma_deg          standard error of pitch and roll, the larger
  residual_deg       median angle by which the verticals used miss their vanishing point
  verticals          how many line segments agree on it
  confidence         0 to 1; "finish" acts from 0.5 on. Below it the figures are the best guess.
  focal_px           the focal length used
  focal_known        false when it had to be found from the lines
  centre             optical axis used, {x, y}
  vertical, across, depth
                     vanishing points of the upright lines, of those across and of those
                     into the room: {x, y} in pixels of the picture freed of distortion,
                     and homogeneous [x, y, w], w = 0 at infinity
  lens               profile used, empty when none
  note               a sentence for people`
}

type plumbResult struct {
	File       string  `json:"file"`
	Width      int     `json:"width"`
	Height     int     `json:"height"`
	Pitch      float64 `json:"pitch_deg"`
	Roll       float64 `json:"roll_deg"`
	Yaw        float64 `json:"yaw_deg"`
	Sigma      float64 `json:"sigma_deg"`
	Residual   float64 `json:"residual_deg"`
	Verticals  int     `json:"verticals"`
	Confidence float64 `json:"confidence"`
	FocalPx    float64 `json:"focal_px"`
	FocalKnown bool    `json:"focal_known"`
	Centre     place   `json:"centre"`
	Vertical   point   `json:"vertical"`
	Across     point   `json:"across"`
	Depth      point   `json:"depth"`
	Lens       string  `json:"lens"`
	Note       string  `json:"note"`
}

type place struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

type point struct {
	place
	Homogeneous [3]float64 `json:"homogeneous"`
}

func (c *plumbCmd) Run(ctx context.Context) error {
	// A focal length that had to be told belongs to a camera of which no more is known.
	known := plumb.View{FocalPx: c.FocalPx, LooseAxis: c.FocalPx > 0}
	if err := c.check(); err != nil {
		return err
	}
	var all []plumbResult
	failed := false
	if c.Segments != "" {
		r, err := c.fromSegments(ctx, known)
		if err != nil {
			return err
		}
		all = append(all, r)
	} else if len(c.Files) == 0 {
		return fmt.Errorf("name a picture, or give --segments FILE.csv and --size WxH")
	}
	for _, path := range c.Files {
		r, err := c.fromFile(ctx, path, known)
		if errors.Is(err, context.Canceled) {
			return err
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			failed = true
			continue
		}
		all = append(all, r)
	}
	if err := c.print(all); err != nil {
		return err
	}
	if failed {
		return errSaid
	}
	return nil
}

// check refuses numbers that no camera has.
func (c *plumbCmd) check() error {
	number := func(v float64) bool { return !math.IsNaN(v) && math.Abs(v) < 1e6 }
	if c.FocalPx < 0 || !number(c.FocalPx) {
		return fmt.Errorf("--focal-px takes the focal length in pixels, a number above 0")
	}
	if n := len(c.Centre); n != 0 && n != 2 || n == 2 && !(number(c.Centre[0]) && number(c.Centre[1])) {
		return fmt.Errorf("--centre takes two numbers, X,Y in pixels")
	}
	if c.Segments != "" && len(c.Files) > 0 {
		return fmt.Errorf("--segments stands for a picture: give one or the other")
	}
	if c.Size != "" && c.Segments == "" {
		return fmt.Errorf("--size belongs to --segments; a picture knows its own")
	}
	return nil
}

// wholeSize reads a size as in 640x480.
var wholeSize = regexp.MustCompile(`^([1-9][0-9]{0,5})x([1-9][0-9]{0,5})$`)

func (c *plumbCmd) fromFile(ctx context.Context, path string, known plumb.View) (plumbResult, error) {
	known.Centre = c.centre()
	p, v, err := plumb.MeasureFile(ctx, path, known)
	if err == nil {
		err = c.plausible(path, v)
	}
	if err != nil {
		return plumbResult{}, err
	}
	return result(path, p, v), nil
}

func (c *plumbCmd) fromSegments(ctx context.Context, v plumb.View) (plumbResult, error) {
	size := wholeSize.FindStringSubmatch(c.Size)
	if size == nil {
		return plumbResult{}, fmt.Errorf("--segments needs the picture's size, as in --size 640x480")
	}
	v.W, _ = strconv.Atoi(size[1]) // digits by the pattern
	v.H, _ = strconv.Atoi(size[2])
	f, err := os.Open(c.Segments)
	if err != nil {
		return plumbResult{}, fmt.Errorf("the line segments can't be read: %w", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return plumbResult{}, fmt.Errorf("%s: this is a folder; --segments takes a text file", c.Segments)
	}
	segs, err := plumb.ReadSegments(f, c.Segments)
	if err != nil {
		return plumbResult{}, err
	}
	v.Centre = c.centre()
	if err := c.plausible(c.Segments, v); err != nil {
		return plumbResult{}, err
	}
	if n := v.Outside(segs); 2*n > len(segs) {
		return plumbResult{}, fmt.Errorf("%s: %d of %d segments lie outside a picture of %d x %d pixels; give the size of the picture they were found in", c.Segments, n, len(segs), v.W, v.H)
	}
	p, err := plumb.FromSegments(ctx, segs, v)
	if err != nil {
		return plumbResult{}, err
	}
	return result(c.Segments, p, v), nil
}

// plausible refuses a focal length or an axis that the picture can't have.
func (c *plumbCmd) plausible(file string, v plumb.View) error {
	long := float64(max(v.W, v.H))
	if c.FocalPx > 0 && c.FocalPx < 0.15*long {
		return fmt.Errorf("%s: --focal-px %g can't be: the picture's %g pixels would span %.0f degrees; give the focal length in pixels, not in millimetres",
			file, c.FocalPx, long, 2*math.Atan(long/2/c.FocalPx)*180/math.Pi)
	}
	if a := v.Centre; len(c.Centre) == 2 && a != nil && (math.Abs(a.X-float64(v.W)/2) > float64(v.W) || math.Abs(a.Y-float64(v.H)/2) > float64(v.H)) {
		return fmt.Errorf("%s: --centre %g,%g lies far outside the picture's %d x %d pixels; give the optical axis in pixels from the top left corner", file, a.X, a.Y, v.W, v.H)
	}
	return nil
}

func (c *plumbCmd) centre() *plumb.Centre {
	if len(c.Centre) != 2 {
		return nil
	}
	return &plumb.Centre{X: c.Centre[0], Y: c.Centre[1]}
}

func result(file string, p plumb.Pose, v plumb.View) plumbResult {
	r := plumbResult{
		File: file, Width: v.W, Height: v.H,
		Pitch: p.PitchDeg, Roll: p.RollDeg, Yaw: p.YawDeg,
		Sigma: p.SigmaDeg, Residual: p.ResidualDeg, Verticals: p.Verticals, Confidence: p.Confidence,
		FocalPx: p.FocalPx, FocalKnown: p.FocalKnown, Centre: place(p.Centre), Note: p.Note,
	}
	if p.Profile != nil {
		r.Lens = p.Profile.Name
	}
	vertical, across, depth := p.VanishingPoints()
	r.Vertical, r.Across, r.Depth = asPoint(vertical), asPoint(across), asPoint(depth)
	return r
}

func asPoint(p plumb.Point) point { return point{place{p.X, p.Y}, p.Homogeneous} }

func (c *plumbCmd) print(all []plumbResult) error {
	if c.JSON {
		if all == nil {
			all = []plumbResult{}
		}
		e := json.NewEncoder(os.Stdout)
		e.SetIndent("", "  ")
		return e.Encode(all)
	}
	for _, r := range all {
		fmt.Printf("%s  pitch %+.2f, roll %+.2f, yaw %+.2f deg (give or take %.2f), confidence %.2f\n", r.File, r.Pitch, r.Roll, r.Yaw, r.Sigma, r.Confidence)
		fmt.Printf("    verticals meet at (%.0f, %.0f), focal length %.1f px; %s\n", r.Vertical.X, r.Vertical.Y, r.FocalPx, r.Note)
	}
	return nil
}
