package bracket

import (
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
	switch {
	case share > clippedLook:
		m.note("highlights-clipped", finding.Look, share, "share",
			"%.1f %% of the picture is clipped even in the darkest frame (%d%s). If this is the window and not a lamp, take the view again with a darker frame.",
			100*share, dark.index+1, name(dark.frame))
	case share > clippedNote:
		m.note("highlights-clipped", finding.Note, share, "share",
			"%.2f %% of the picture is clipped even in the darkest frame: lamps, most likely.", 100*share)
	}
}

// reportShadows measures the darkest twentieth of the picture.
func (m *merger) reportShadows() {
	bright := m.shots[len(m.shots)-1]
	shadow := bright.proof.quantile(0.05)
	v := float64(shadow * bright.gain)
	snr := v / math.Sqrt(m.predict(v))
	if snr < noisyAt {
		m.note("shadows-noisy", finding.Look, snr, "",
			"The darkest parts of the picture have a signal-to-noise ratio of %.1f. Take the view again with a brighter frame, or keep the shadows dark.", max(0, snr))
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
