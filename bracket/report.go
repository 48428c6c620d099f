package bracket

import (
	"fmt"
	"math"

	"mullion/finding"
)

// Shares of the picture from which a finding is worth a line.
const (
	clippedNote = 0.0005 // lamps clip in most views
	clippedLook = 0.01
)

// noisyAt is the signal-to-noise ratio under which a shadow looks noisy in a
// finished picture (common practice, no source).
const noisyAt = 8

// report says what became of the frames and what the photographer should know.
func (m *merger) report() {
	for _, s := range m.shots {
		m.out.Frames[s.index].Used = true
	}
	m.reportClipped()
	m.reportShadows()
}

func (m *merger) reportClipped() {
	dark := m.shots[0]
	share := dark.proof.clipped
	where := fmt.Sprintf("in every frame, even in the darkest, frame %d%s", dark.index+1, name(dark.frame))
	if len(m.shots) == 1 {
		where = fmt.Sprintf("in the only frame merged, frame %d%s", dark.index+1, name(dark.frame))
	}
	switch {
	case share > clippedLook:
		m.note("highlights-clipped", finding.Look, share, "share",
			"%s of the picture is clipped %s: what is there can't be shown. If a window is among it, take the view again with a darker frame.", percent(share), where)
	case share > clippedNote:
		m.note("highlights-clipped", finding.Note, share, "share",
			"%s of the picture is clipped %s. A lamp may clip; if it is a window, take the view again with a darker frame.", percent(share), where)
	}
}

// reportShadows measures the darkest twentieth of the picture.
func (m *merger) reportShadows() {
	bright := m.shots[len(m.shots)-1]
	shadow := bright.proof.quantile(0.05)
	v := float64(shadow * bright.gain)
	snr := v / math.Sqrt(m.predict(v))
	if snr >= noisyAt || shadow >= saturated {
		return
	}
	where := fmt.Sprintf("even in the brightest frame, frame %d%s", bright.index+1, name(bright.frame))
	if len(m.shots) == 1 {
		where = fmt.Sprintf("in the only frame merged, frame %d%s", bright.index+1, name(bright.frame))
	}
	m.note("shadows-noisy", finding.Look, snr, "",
		"The darkest twentieth of the picture is only %.1f times as bright as its noise %s; from %d times on it looks clean. Take the view again with a brighter frame, or keep the shadows dark.", max(0, snr), where, noisyAt)
}

// percent writes a share with as many digits as it takes to tell it from none.
func percent(share float64) string {
	switch p := 100 * share; {
	case p >= 9.95:
		return fmt.Sprintf("%.0f %%", p)
	case p >= 0.095:
		return fmt.Sprintf("%.1f %%", p)
	case p >= 0.005:
		return fmt.Sprintf("%.2f %%", p)
	default:
		return "less than 0.01 %"
	}
}

// quantile is taken over every fourth sample of every fourth row.
func (p *proof) quantile(q float64) float32 {
	var v []float32
	for y := 0; y < p.lin.H; y += 4 {
		row := p.lin.Row(y)
		for x := 0; x < len(row); x += 4 {
			v = append(v, row[x])
		}
	}
	median32(v)
	return max(0, v[int(q*float64(len(v)-1))])
}
