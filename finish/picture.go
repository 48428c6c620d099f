package finish

import (
	"context"
	"fmt"
	"math"

	"mullion/deliver"
	"mullion/finding"
	"mullion/internal/raster"
	"mullion/plumb"
	"mullion/record"
	"mullion/shoot"
	"mullion/tone"
	"mullion/whitebalance"
	"mullion/window"
)

// picture is one view on its way from radiance to the finished picture, with what
// was found and decided on the way.
type picture struct {
	scene    *Scene
	around   neighbours  // what the shoot's views say together; empty when not asked
	rgb      *raster.RGB // linear light, sRGB primaries, 0..1, upright and straight
	pose     plumb.Pose
	measured plumb.Pose // the pose before anything was set by hand
	plan     plumb.Geometry
	frame    [2]int // size of the upright frame before straightening, pixels
	light    *whitebalance.Estimate
	tone     tone.Report
	findings []finding.Finding
	twin     *raster.RGB   // rgb before anything was taken out; nil when nothing was
	edits    []record.Edit // what was softened and taken out
	dust     int           // grains of dust on the sensor whose shadows were taken out
	clock    *Clock
	// sheets are those that the picture is made for; none when it is wanted whole.
	sheets  []deliver.Sheet
	reduced float64 // by how much it is smaller than the whole, 1 or more
	keepAt  string  // the file in which the reduced radiance is kept; empty for none
	kept    *reduced
}

func (p *picture) release() { raster.PutRGB(p.rgb, p.twin) }

// develop makes the finished picture of one merged bracket, with what its neighbours
// say of it; it spends the scene. The reduced radiance is kept in the file keep, unless
// that is empty. The picture is no larger than the sheets need it, whole when there
// are none.
func develop(ctx context.Context, scene *Scene, clock *Clock, d shoot.Decisions, around neighbours, keep string, sheets []deliver.Sheet) (*picture, error) {
	p := &picture{scene: scene, clock: clock, around: around, sheets: sheets, keepAt: keep}
	if err := scene.develop(ctx, clock); err != nil {
		return nil, err
	}
	p.findings = append(p.findings, p.scene.Findings...)
	if err := p.mendDust(ctx, around.Dust); err != nil {
		return nil, err
	}
	if err := p.straighten(ctx, d.Level); err != nil {
		return nil, err
	}
	err := p.show(ctx, p.kept, d)
	if p.kept != nil {
		raster.PutRGB(p.kept.rgb)
		p.kept = nil
	}
	return p, err
}

// show makes the picture of the resampled radiance.
//
// Light and levels of a large view are found in its kept radiance, as live pictures find
// them: what is decided by looking can then depend neither on the sheets that are made
// today nor on the size that is looked at. Only where the glass ends is found at the size
// of the picture. k is the view's kept radiance; it may be nil for small views
// whose level was not set by hand.
func (p *picture) show(ctx context.Context, k *reduced, d shoot.Decisions) error {
	if k == nil || !large(p.frame) && d.Level == nil {
		outside, err := p.finish(ctx, d)
		raster.Put(coverage(outside))
		return err
	}
	k.clock = p.clock
	s, err := k.straighten(ctx, d.Level)
	if err != nil {
		return err
	}
	defer s.release()
	view, err := tone.Analyse(ctx, s.pic.rgb, s.outside, tone.Full)
	if err != nil {
		return err
	}
	defer view.Release()
	p.light = s.pic.light
	outside, doubt, err := p.windows(ctx)
	if err != nil {
		return err
	}
	defer raster.Put(doubt, coverage(outside))
	if err := p.unlight(ctx, outside, doubt); err != nil {
		return err
	}
	return p.expose(ctx, view, outside, d)
}

// finish makes the picture of the resampled radiance by what is found in that itself, and
// returns its windows.
func (p *picture) finish(ctx context.Context, d shoot.Decisions) (*window.Map, error) {
	outside, doubt, err := p.look(ctx)
	if err != nil {
		return nil, err
	}
	defer raster.Put(doubt)
	if err := p.unlight(ctx, outside, doubt); err != nil {
		return outside, err
	}
	view, err := tone.Analyse(ctx, p.rgb, outside, tone.Full)
	if err != nil {
		return outside, err
	}
	defer view.Release()
	return outside, p.expose(ctx, view, outside, d)
}

// look finds the windows, what lit the view, and where the radiance's colour was not
// measured. It changes nothing in the radiance.
func (p *picture) look(ctx context.Context) (outside *window.Map, doubt *raster.Plane, err error) {
	if outside, doubt, err = p.windows(ctx); err != nil {
		return nil, nil, err
	}
	defer p.clock.Start("balance")()
	prior := p.scene.prior()
	prior.Accord = p.around.Light
	p.light, err = whitebalance.Measure(ctx, p.rgb, coverage(outside), prior)
	return outside, doubt, err
}

// windows finds the windows, and where the radiance's colour was not measured.
func (p *picture) windows(ctx context.Context) (outside *window.Map, doubt *raster.Plane, err error) {
	defer p.clock.Start("window")()
	outside, err = window.FindClipped(ctx, p.rgb, func() (_ *raster.Plane, err error) {
		doubt, err = p.scene.ceiling.doubt(ctx, p.rgb)
		return doubt, err
	})
	if err == window.ErrTooSmall {
		outside = nil
		doubt, err = p.scene.ceiling.doubt(ctx, p.rgb)
	}
	return outside, doubt, err
}

// unlight takes out the colour of the light as it was measured.
func (p *picture) unlight(ctx context.Context, outside *window.Map, doubt *raster.Plane) error {
	defer p.clock.Start("balance")()
	if err := p.light.Apply(ctx, p.rgb, coverage(outside)); err != nil {
		return err
	}
	return rollOff(ctx, p.rgb, doubt)
}

// expose makes the picture of the balanced radiance, whose levels are view's: those of
// the light as measured, since warmth changes none.
func (p *picture) expose(ctx context.Context, view *tone.View, outside *window.Map, d shoot.Decisions) (err error) {
	defer p.clock.Start("tone")()
	if warms(d) {
		if err := p.warm(ctx, p.rgb, coverage(outside), d); err != nil {
			return err
		}
	}
	p.tone, err = view.Render(ctx, p.rgb, p.rgb, p.lights(d))
	return err
}

// lights are the picture's two lights as decided, and what its room agreed on.
func (p *picture) lights(d shoot.Decisions) tone.Params {
	return tone.Params{
		RoomEV: value(d.RoomEV), WindowEV: value(d.WindowEV),
		Match: p.around.Levels, Longest: p.scene.longest(),
	}
}

func coverage(m *window.Map) *raster.Plane {
	if m == nil {
		return nil
	}
	return m.Coverage
}

// prior is what the scene knows of its light before looking.
func (s *Scene) prior() whitebalance.Prior {
	return whitebalance.Prior{XY: [2]float64{s.Light.X, s.Light.Y}, Rendered: s.Rendered}
}

// heldNote is from how many EV on a room left dark is worth a word.
const heldNote = 0.3

// told is what was found on the way and in the picture itself.
func (p *picture) told() []finding.Finding {
	out := append([]finding.Finding{}, p.findings...)
	if p.tone.HeldEV >= heldNote {
		out = append(out, finding.Finding{
			Code: "room-held", Severity: finding.Look, Value: round(p.tone.HeldEV, 2), Unit: "EV",
			Message: fmt.Sprintf("Even the brightest frame shows this room dark, so it was left %.1f EV darker than rooms usually are. Raise its light by hand, or take the view again with a brighter frame.", p.tone.HeldEV),
		})
	}
	return out
}

// report is the view's part of the run's report, without its files.
func (p *picture) report(v shoot.View) ViewReport {
	r := ViewReport{
		ID: v.ID, Room: v.Room, Taken: p.scene.Merged.Info.Time,
		RangeEV: round(p.scene.Merged.RangeEV, 2),
		Noise:   NoiseReport{Shown: round(p.scene.Noise.Shown, 2), Taken: round(p.scene.Noise.Share, 3)},
		Light: LightReport{
			Kelvin: math.Round(p.light.Kelvin), Duv: round(p.light.Duv, 5),
			SecondKelvin: math.Round(p.light.SecondKelvin), Confidence: round(p.light.Confidence, 3),
		},
		Plumb:    p.plumbReport(),
		Tone:     ToneReport{RoomEV: round(p.tone.RoomEV, 2), WindowEV: round(p.tone.WindowEV, 2)},
		Findings: p.told(),
		Edits:    p.edits,
		Dust:     p.dust,
		Files:    []FileReport{},
	}
	for i, f := range v.Frames {
		one := FrameReport{File: f.Path}
		if i < len(p.scene.Infos) {
			info := p.scene.Infos[i]
			one.Seconds, one.ISO, one.FNumber = info.Seconds, info.ISO, round(info.FNumber, 3)
		}
		if i < len(p.scene.Merged.Frames) {
			m := p.scene.Merged.Frames[i]
			one.EV = round(m.RefinedEV, 3)
			one.ShiftPx = [2]float64{round(m.ShiftX, 3), round(m.ShiftY, 3)}
			one.RotationDeg = round(m.RotationDeg, 4)
			one.Used, one.Why = m.Used, m.Why
		}
		r.Frames = append(r.Frames, one)
	}
	return r
}

func value(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}

// round keeps a report readable. What is not a number counts as 0, since JSON has
// no word for it.
func round(v float64, digits int) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	s := math.Pow10(digits)
	return math.Round(v*s) / s
}
