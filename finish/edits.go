package finish

import (
	"context"
	"fmt"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/record"
	"mullion/removal"
	"mullion/shoot"
)

// edit softens and takes out of the finished picture what the view's edits say. The
// twin it leaves is the picture before anything was taken out; what was softened to
// keep something private is softened there too.
func (p *picture) edit(ctx context.Context, edits []shoot.Edit, path func(string) string) error {
	if len(edits) == 0 {
		return nil
	}
	defer p.clock.Start("edits")()
	away := raster.New(p.rgb.W(), p.rgb.H())
	any := false
	for _, e := range edits {
		mask, err := p.place(ctx, e, path)
		if err != nil {
			return fmt.Errorf("edit %d (%s): %w", e.ID, e.What, err)
		}
		done := record.Edit{Action: record.Action(e.Action), Kind: e.Kind, What: e.What, At: e.At, Version: e.Version}
		x, y, w, h, ok := removal.Bounds(mask)
		if ok {
			done.Where = record.Area{X: percent(x, mask.W), Y: percent(y, mask.H), W: percent(w, mask.W), H: percent(h, mask.H)}
			if done.Action == record.Soften {
				_, err = removal.Soften(ctx, p.rgb, mask)
			} else {
				any = true
				add(away, mask)
			}
		}
		raster.Put(mask)
		if err != nil {
			return err
		}
		p.edits = append(p.edits, done)
	}
	if !any {
		return ctx.Err()
	}
	p.twin = p.rgb.Clone()
	filled, err := removal.Fill(ctx, p.rgb, away, removal.Options{})
	if err != nil {
		return fmt.Errorf("what was painted could not be filled: %w", err)
	}
	if filled.Depth > wide {
		p.findings = append(p.findings, finding.Finding{
			Code: "removal-wide", Severity: finding.Look, Value: round(200*filled.Depth, 1), Unit: "% of the long side",
			Message: fmt.Sprintf("What was taken out is %.0f %% of the picture's long side across: what lay behind it is guessed from what is beside it, and a filling of that width often shows. If it does, move the thing and photograph again.", 200*filled.Depth),
		})
	}
	p.findings = append(p.findings, finding.Finding{
		Code: "removal", Severity: finding.Look, Value: round(filled.Mismatch, 3), Unit: "EV",
		Message: fmt.Sprintf("%s Look at the place at full size; its fill differs from the picture around it by %.2f EV.", record.Caption(p.edits, ""), filled.Mismatch),
	})
	return nil
}

// wide is the depth, in shares of the long side, from which a filling is more guess than
// continuation; common practice, no source.
const wide = 0.04

// place paints an edit in the upright frame and carries it into the finished picture.
func (p *picture) place(ctx context.Context, e shoot.Edit, path func(string) string) (*raster.Plane, error) {
	if e.Frame != p.frame {
		return nil, fmt.Errorf("it was painted on a frame of %d x %d pixels and this view's has %d x %d; undo it and paint it again", e.Frame[0], e.Frame[1], p.frame[0], p.frame[1])
	}
	mask, err := Paint(e, path)
	if err != nil {
		return nil, err
	}
	w, h, o := float64(p.frame[0]), float64(p.frame[1]), p.scene.Merged.Info.Orientation
	at := func(x, y float64) (float64, float64) {
		sx, sy := p.plan.Map.At(x, y)
		return seenAt(o, sx, sy, w, h)
	}
	return removal.Place(ctx, mask, at, p.rgb.W(), p.rgb.H())
}

// Paint draws an edit's strokes, boxes and mask on the upright frame. path says where
// a path of the shoot lies.
func Paint(e shoot.Edit, path func(string) string) (*raster.Plane, error) {
	w, h := e.Frame[0], e.Frame[1]
	mask := raster.New(w, h)
	if e.Mask != "" {
		var err error
		if mask, err = removal.ReadMask(path(e.Mask), w, h); err != nil {
			return nil, err
		}
	}
	for _, s := range e.Strokes {
		stroke, err := removal.ParseStroke(s)
		if err != nil {
			return nil, err
		}
		if !stroke.Paint(mask) {
			return nil, fmt.Errorf("stroke %q lies outside the upright frame of %d x %d pixels", s, w, h)
		}
	}
	for _, b := range e.Boxes {
		box, err := removal.ParseBox(b)
		if err != nil {
			return nil, err
		}
		if !box.Paint(mask) {
			return nil, fmt.Errorf("box %q lies outside the upright frame of %d x %d pixels", b, w, h)
		}
	}
	return mask, nil
}

// seenAt is where the place (sx, sy) of the stored picture is seen in the upright
// one of w x h: the inverse of seenFrom, for places rather than pixels.
func seenAt(orientation int, sx, sy, w, h float64) (x, y float64) {
	switch orientation {
	case 2:
		return w - sx, sy
	case 3:
		return w - sx, h - sy
	case 4:
		return sx, h - sy
	case 5:
		return sy, sx
	case 6:
		return w - sy, sx
	case 7:
		return w - sy, h - sx
	case 8:
		return sy, h - sx
	}
	return sx, sy
}

func add(sum, mask *raster.Plane) {
	for y := range sum.H {
		row := sum.Row(y)
		for x, v := range mask.Row(y) {
			if v > row[x] {
				row[x] = v
			}
		}
	}
}

func percent(v, of int) float64 { return round(100*float64(v)/float64(of), 2) }

// removes reports whether anything is to be taken out of the view's picture.
func removes(v shoot.View) bool {
	for _, e := range v.Edits {
		if e.Action == string(record.Remove) {
			return true
		}
	}
	return false
}
