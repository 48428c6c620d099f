package finish

import (
	"context"
	"fmt"
	"math"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/plumb"
	"mullion/shoot"
	"mullion/warp"
)

// lumaEdge is the long edge at which lines are looked for: fine enough for a tenth
// of a degree, coarse enough that noise has no lines in it.
const lumaEdge = 1800

// straighten measures how the camera was held and resamples the scene once, from the
// sensor's orientation through the lens to the upright, plumb picture.
func (p *picture) straighten(ctx context.Context, byHand *shoot.Level) error {
	src := p.scene.RGB
	p.scene.RGB = nil
	if err := p.upright(ctx, src, byHand); err != nil {
		return err
	}
	if err := p.reduce(ctx, src, byHand != nil); err != nil {
		return err
	}
	defer p.clock.Start("warp")()
	p.plan = p.pose.Plan(p.frame[0], p.frame[1], plumb.PlanOptions{Orientation: p.scene.Merged.Info.Orientation})
	p.tellPlan()
	whole := p.plan.W
	p.plan = p.plan.At(needed(p.sheets, p.plan.W, p.plan.H))
	p.reduced = float64(whole) / float64(p.plan.W)
	var err error
	p.rgb, err = warp.Apply(ctx, src, p.plan.Map, p.plan.W, p.plan.H)
	raster.PutRGB(src)
	return err
}

// reduce makes the radiance that is kept, where it is wanted.
func (p *picture) reduce(ctx context.Context, src *raster.RGB, byHand bool) (err error) {
	if p.keepAt == "" && !large(p.frame) && !byHand {
		return nil
	}
	defer p.clock.Start("keep")()
	if p.kept, err = p.keep(ctx, src); err == nil && p.keepAt != "" {
		p.kept.store(p.keepAt)
	}
	return err
}

// upright finds how large the upright frame is and how the camera was held.
func (p *picture) upright(ctx context.Context, src *raster.RGB, byHand *shoot.Level) error {
	defer p.clock.Start("plumb")()
	info := p.scene.Merged.Info
	w, h := turned(src.W(), src.H(), info.Orientation)
	p.frame = [2]int{w, h}
	return p.measure(ctx, src, info, w, h, byHand)
}

// measure finds the pose, or takes the one that was set by hand.
func (p *picture) measure(ctx context.Context, src *raster.RGB, info metadata.Info, w, h int, byHand *shoot.Level) error {
	luma, err := uprightLuma(ctx, src, info.Orientation)
	if err != nil {
		return err
	}
	defer raster.Put(luma)
	view := p.around.Plumb.Fill(plumb.Look(info, w, h))
	if p.pose, err = plumb.Measure(ctx, luma, view); err != nil {
		return err
	}
	p.tellLens(view)
	p.measured = p.pose
	p.hold(byHand)
	return nil
}

// hold takes a pose that was set by hand instead of the measured one.
func (p *picture) hold(byHand *shoot.Level) {
	if byHand == nil {
		return
	}
	var ok bool
	if p.pose, ok = p.pose.Hold(byHand.PitchDeg, byHand.RollDeg, byHand.YawDeg); !ok {
		p.findings = append(p.findings, finding.Finding{
			Code: "level-beyond", Severity: finding.Look, Value: byHand.PitchDeg, Unit: "deg",
			Message: fmt.Sprintf("The level set by hand (pitch %.4g, roll %.4g, yaw %.4g degrees) is beyond what can be straightened: at most %d, %d and %d degrees to either side. The measured level is used.",
				byHand.PitchDeg, byHand.RollDeg, byHand.YawDeg, plumb.MostPitch, plumb.MostRoll, plumb.MostYaw),
		})
	}
}

// tellPlan notes a correction that was made only in part.
func (p *picture) tellPlan() {
	if !p.plan.Partly {
		return
	}
	yaw := 0.0
	if p.pose.Straight {
		yaw = p.pose.YawDeg
	}
	done := "so roll and only a part of the rest were corrected"
	if !p.plan.Corrected {
		done = "so the view is left as it was taken"
	}
	p.findings = append(p.findings, finding.Finding{
		Code: "level-partly", Severity: finding.Look, Value: round(p.plan.CropKept, 3), Unit: "share",
		Message: fmt.Sprintf("Straightening this view wholly (pitch %+.1f, roll %+.1f, yaw %+.1f degrees) would cut away more than half of it, %s.",
			p.pose.PitchDeg, p.pose.RollDeg, yaw, done),
	})
}

// tellLens notes what is known of the lens and from where.
func (p *picture) tellLens(view plumb.View) {
	note := func(code, message string, value float64, unit string) {
		p.findings = append(p.findings, finding.Finding{Code: code, Severity: finding.Note, Message: message, Value: value, Unit: unit})
	}
	if view.Profile != nil && p.around.Plumb.Profile == nil {
		note("lens-profile", fmt.Sprintf("The lens is corrected by its profile %q (%s).", view.Profile.Name, view.Profile.Origin), 0, "")
	}
	if p.around.Plumb.Views > 0 {
		note("lens-estimated", p.around.Plumb.Note, float64(p.around.Plumb.Views), "views")
	}
	if p.around.Plumb.Level != "" {
		note("level-guided", p.around.Plumb.Level, 0, "")
	}
}

func (p *picture) plumbReport() PlumbReport {
	return PlumbReport{
		PitchDeg: round(p.pose.PitchDeg, 3), RollDeg: round(p.pose.RollDeg, 3), YawDeg: round(p.pose.YawDeg, 3),
		ResidualDeg: round(p.pose.ResidualDeg, 3), Confidence: round(math.Min(1, p.pose.Confidence), 3),
		Corrected: p.plan.Corrected, CropKept: round(p.plan.CropKept, 4), Note: p.pose.Note,
	}
}
