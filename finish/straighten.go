package finish

import (
	"context"
	"math"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/lens"
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
	src, info := p.scene.RGB, p.scene.Merged.Info
	p.scene.RGB = nil
	w, h := src.W(), src.H()
	if info.Orientation >= 5 {
		w, h = h, w
	}
	p.frame = [2]int{w, h}
	end := p.clock.Start("plumb")
	err := p.measure(ctx, src, info, w, h, byHand)
	end()
	if err != nil {
		return err
	}
	defer p.clock.Start("warp")()
	p.plan = p.pose.Plan(w, h, plumb.PlanOptions{Orientation: info.Orientation})
	p.rgb, err = warp.Apply(ctx, src, p.plan.Map, p.plan.W, p.plan.H)
	raster.PutRGB(src)
	return err
}

// measure finds the pose, or takes the one that was set by hand.
func (p *picture) measure(ctx context.Context, src *raster.RGB, info metadata.Info, w, h int, byHand *shoot.Level) error {
	profile, note := lens.Find(lens.Query{Make: info.Make, Model: info.Model, Lens: info.Lens, FocalMM: info.FocalMM, FNumber: info.FNumber})
	view := plumb.View{W: w, H: h, FocalPx: plumb.FocalPx(w, h, info.Focal35MM), Profile: profile}
	luma, err := plumb.Luma(ctx, src, lumaEdge)
	if err != nil {
		return err
	}
	up := raster.Upright(luma, info.Orientation)
	raster.Put(luma)
	defer raster.Put(up)
	if p.pose, err = plumb.Measure(ctx, up, view); err != nil {
		return err
	}
	if note != "" && profile != nil {
		p.findings = append(p.findings, finding.Finding{Code: "lens-profile", Severity: finding.Note, Message: note, Unit: ""})
	}
	p.hold(byHand)
	return nil
}

// hold takes a pose that was set by hand instead of the measured one.
func (p *picture) hold(byHand *shoot.Level) {
	if byHand != nil {
		p.pose.PitchDeg, p.pose.RollDeg, p.pose.YawDeg = byHand.PitchDeg, byHand.RollDeg, byHand.YawDeg
		p.pose.Straight, p.pose.Confidence = byHand.YawDeg != 0, 1
		p.pose.Note = "set by hand"
	}
}

func (p *picture) plumbReport() PlumbReport {
	return PlumbReport{
		PitchDeg: round(p.pose.PitchDeg, 3), RollDeg: round(p.pose.RollDeg, 3), YawDeg: round(p.pose.YawDeg, 3),
		ResidualDeg: round(p.pose.ResidualDeg, 3), Confidence: round(math.Min(1, p.pose.Confidence), 3),
		Corrected: p.plan.Corrected, CropKept: round(p.plan.CropKept, 4), Note: p.pose.Note,
	}
}
