package bracket

import (
	"context"
	"math"
	"sort"

	"mullion/finding"
	"mullion/rawfile"
	"mullion/response"
)

// linearise recovers the camera's response from a bracket of rendered files and
// makes their proofs again with it. Files of more than 8 bits a sample are taken
// as linear by their profile. Frames that do not say how they were exposed have their
// steps solved with the curve, up to a power of all light that the profile's curve
// decides: light may then be too flat or too steep over all, but where one frame leaves
// the merge and the next takes over nothing shows.
func (m *merger) linearise(ctx context.Context) error {
	if m.ref.frame.Kind != rawfile.KindDisplay || len(m.shots) < 2 {
		return nil
	}
	known, few := true, true
	for _, s := range m.shots {
		known = known && s.known
		few = few && s.frame.Coded.Bits == 8
	}
	var c *curves
	err := response.ErrTooLittle
	if few {
		c, err = m.recoverCurves(known)
	}
	switch {
	case err == nil && !known:
		m.note("response-assumed", finding.Note, float64(len(m.shots)), "frames",
			"These %d frames do not say how they were exposed: the steps between them and the camera's curve were measured together, and how steep that is over all was taken from their colour profile. Check the brightness of windows and lamps.", len(m.shots))
	case err == nil:
	case !few || !known:
		m.note("response-assumed", finding.Note, float64(len(m.shots)), "frames",
			"These %d frames do not say how they were exposed, or have more than 8 bits a sample: their light is read through the curve of their colour profile. Check the brightness of windows and lamps.", len(m.shots))
		return nil
	default:
		m.note("response-assumed", finding.Note, float64(len(m.shots)), "frames",
			"These frames show too little of the same things to recover the camera's response: their light is read through the curve of their colour profile. Check the brightness of windows and lamps.")
		return nil
	}
	m.recovered = true
	for _, s := range m.shots {
		s.curves = c
		s.noise = c.noise(8)
		if err := s.makeProof(ctx, m.step); err != nil {
			return err
		}
		if !s.warp.identity() {
			if err := s.moveProof(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

// recoverCurves solves one curve from all channels, which decides where a channel
// says little and keeps greys grey, then lets every channel deviate from it.
func (m *merger) recoverCurves(known bool) (*curves, error) {
	places := m.places()
	ev := make([]float64, len(m.shots))
	for i, s := range m.shots {
		ev[i] = s.ev
	}
	var all []response.Place
	for c := range places {
		all = append(all, places[c]...)
	}
	var common *response.Curve
	var err error
	if known {
		common, err = response.Recover(all, ev, response.SRGB(), response.Options{})
	} else {
		common, ev, err = response.RecoverSteps(all, response.SRGB(), response.Options{})
	}
	if err != nil {
		return nil, err
	}
	// Files without exposure data have often been edited: what their colours do then is
	// no curve of a channel, and following it would tint greys by their brightness.
	hold := 0.1
	if !known {
		hold = 1
	}
	k := newCurves(256)
	for c := range places {
		own, err := response.Recover(places[c], ev, common, response.Options{Smooth: 1, Hold: hold})
		if err != nil {
			own = common
		}
		end := 1.
		if !known { // nor how steep the curve is where no frame says: white is where codes count as clipped
			end = own.Linear(uint8(k.clipCode * 255))
		}
		for i := range k.tables[c] {
			k.tables[c][i] = float32(min(1, own.Linear(uint8(i))/end))
		}
		// Code 0 holds everything the camera crushed: no light.
		k.tables[c][0] = 0
	}
	return k, nil
}

// places picks flat spots of the scene, spread over the picture and over its
// brightness, and reads their codes in every frame.
func (m *merger) places() [3][]response.Place {
	type spot struct {
		x, y  int
		rough float32
	}
	p := m.ref.proof.lin
	classes := map[int][]spot{}
	for y := 2; y < p.H-2; y += 3 {
		for x := 2; x < p.W-2; x += 3 {
			v := max(1e-4, m.brightest(x, y))
			g := abs(p.Row(y)[x+1]-p.Row(y)[x-1]) + abs(p.Row(y + 1)[x]-p.Row(y - 1)[x])
			k := int(2 * math.Log2(float64(v)))
			classes[k] = append(classes[k], spot{x, y, g / (p.Row(y)[x] + 0.01)})
		}
	}
	keys := make([]int, 0, len(classes))
	for k := range classes {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	var out [3][]response.Place
	for _, k := range keys {
		c := classes[k]
		sort.SliceStable(c, func(i, j int) bool { return c[i].rough < c[j].rough })
		flat := c[:len(c)/2]
		for i := 0; i < len(flat); i += 1 + len(flat)/150 {
			m.read(&out, flat[i].x, flat[i].y)
		}
	}
	return out
}

// brightest is the light of a spot by the darkest frame that shows it well.
func (m *merger) brightest(x, y int) float32 {
	for _, s := range m.shots {
		if v := s.proof.lin.Row(y)[x]; v > 0.02 || s == m.shots[len(m.shots)-1] {
			return v * exp2(-s.ev+m.ref.ev)
		}
	}
	return 0
}

// read adds the codes of one proof sample: the mean of 3 x 3 pixels, which takes
// the noise off and on a flat spot leaves the code.
func (m *merger) read(out *[3][]response.Place, px, py int) {
	var p [3]response.Place
	for _, s := range m.shots {
		u, v := s.warp.at(float64(px), float64(py))
		x, y := int((u+0.5)*float64(m.step)), int((v+0.5)*float64(m.step))
		if x < 1 || y < 1 || x >= s.w-1 || y >= s.h-1 {
			return
		}
		for c := range 3 {
			var sum float32
			for j := -1; j <= 1; j++ {
				row := s.frame.Coded.RGB[c].Row(y + j)
				sum += row[x-1] + row[x] + row[x+1]
			}
			p[c] = append(p[c], uint8(max(0, min(255, sum/9*255+0.5))))
		}
	}
	for c := range 3 {
		out[c] = append(out[c], p[c])
	}
}

func abs(v float32) float32 { return max(v, -v) }
