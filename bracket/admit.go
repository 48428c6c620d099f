package bracket

import (
	"fmt"
	"sort"

	"mullion/finding"
	"mullion/rawfile"
)

// admit looks at every frame and keeps those that can be merged together: the
// kind and size that most frames share.
func (m *merger) admit(frames []*rawfile.Frame) {
	type form struct {
		kind rawfile.Kind
		w, h int
	}
	count := map[form]int{}
	shots := make([]*shot, len(frames))
	for i, f := range frames {
		w, h, why := size(f)
		if why != "" {
			m.out.Frames[i].Why = why
			m.note("frame-left-out", finding.Look, float64(i+1), "frame",
				leftOut, i+1, name(f), why)
			continue
		}
		ev, known := f.Info.Exposure()
		shots[i] = &shot{index: i, frame: f, w: w, h: h, ev: ev, known: known}
		count[form{f.Kind, w, h}]++
	}
	var most form
	for i := len(shots) - 1; i >= 0; i-- { // of equals the first wins
		if s := shots[i]; s != nil {
			if f := (form{s.frame.Kind, s.w, s.h}); count[f] >= count[most] {
				most = f
			}
		}
	}
	for _, s := range shots {
		if s == nil {
			continue
		}
		m.shots = append(m.shots, s)
	}
	for _, s := range append([]*shot(nil), m.shots...) {
		switch f := (form{s.frame.Kind, s.w, s.h}); {
		case f.w != most.w || f.h != most.h:
			m.leave(s, fmt.Sprintf("it has %d x %d pixels and the others have %d x %d", s.w, s.h, most.w, most.h))
		case f.kind != most.kind:
			m.leave(s, fmt.Sprintf("it is %s and the others are %s", kindName(f.kind), kindName(most.kind)))
		}
	}
}

func kindName(k rawfile.Kind) string {
	switch k {
	case rawfile.KindMosaic:
		return "raw data"
	case rawfile.KindCameraRGB:
		return "raw data that are interpolated already"
	default:
		return "a developed picture"
	}
}

// size returns the pixels of a frame, or why it can't be used.
func size(f *rawfile.Frame) (w, h int, why string) {
	if f == nil {
		return 0, 0, "it could not be read"
	}
	switch {
	case f.Kind == rawfile.KindMosaic && f.Mosaic != nil:
		w, h = f.Mosaic.W, f.Mosaic.H
		if len(f.Mosaic.Pix) < w*h {
			return w, h, "its pixel data are incomplete"
		}
		if !(f.Mosaic.White > f.Mosaic.Black[0][0]) {
			return w, h, "its white level is not above its black level"
		}
	case f.Kind == rawfile.KindCameraRGB && f.RGB != nil:
		w, h = f.RGB.W(), f.RGB.H()
	case f.Kind == rawfile.KindDisplay && f.Coded != nil && f.Coded.RGB != nil:
		w, h = f.Coded.RGB.W(), f.Coded.RGB.H()
	default:
		return 0, 0, "it holds no pixels"
	}
	if w < 16 || h < 16 {
		return w, h, fmt.Sprintf("it has only %d x %d pixels", w, h)
	}
	return w, h, ""
}

// sortShots puts the darkest exposure first. Where files do not say how they
// were exposed, the brightness of the proofs decides.
func (m *merger) sortShots() {
	known := true
	for _, s := range m.shots {
		known = known && s.known
	}
	if !known {
		for _, s := range m.shots {
			s.known, s.ev = false, s.proof.brightness()
		}
	}
	sort.SliceStable(m.shots, func(i, j int) bool { return m.shots[i].ev < m.shots[j].ev })
}
