package whitebalance

import (
	"math"

	"mullion/colour"
)

// View is one view among those that are solved together.
type View struct {
	// Room is the name of the room. Views of different rooms are not compared; those
	// without a name are, by what they show.
	Room     string
	Evidence Evidence
}

// Accord is what the views of one room under one light agree on, as it concerns one of
// them. Given as [Prior.Accord] it makes that view's balance fit its neighbours'. The
// view may have been straightened or cropped a little since it gave evidence. An accord
// comes back from JSON as it was.
type Accord struct {
	// Group numbers the light: views with the same number share a room and its
	// light. Views is how many they are; with one there is nothing to agree on.
	Group int `json:"group"`
	Views int `json:"views"`
	// Light is the mean light of this view, ln(R/G), ln(B/G) in linear BT.2020, by a
	// white that it may find itself, and Moved by how much that is moved to fit its
	// neighbours.
	Light [2]float64 `json:"light"`
	Moved [2]float64 `json:"moved"`
	// Base is the light from which the warmth of lamps is measured in all these views.
	Base [2]float64 `json:"base"`
}

// Agree solves views together: which of them share a light, and which paint of each is
// white so that all see one light and one set of paints. It returns one Accord a view,
// in the order of the views. The order itself does not matter but for the numbers.
//
// Every paint that some view may take for white makes a claim about the light and the
// paints of the room. The claim that most views can join, each by a white it finds
// likely enough itself, is taken; views that cannot join it are solved among
// themselves. So a view that would be wrong alone is set right by its neighbours, and
// one that is wrong beyond repair keeps its error to itself.
func Agree(views []View) []Accord {
	out := make([]Accord, len(views))
	rooms := map[string][]int{}
	var order []string
	for i, v := range views {
		if rooms[v.Room] == nil {
			order = append(order, v.Room)
		}
		rooms[v.Room] = append(rooms[v.Room], i)
	}
	group := 0
	for _, name := range order {
		var left []*claimant
		for _, i := range rooms[name] {
			if len(views[i].Evidence.Paints) == 0 { // it shows nothing
				out[i] = Accord{Group: group, Views: 1}
				group++
				continue
			}
			left = append(left, newClaimant(i, &views[i].Evidence, name == ""))
		}
		for len(left) > 0 {
			var joined []*claimant
			joined, left = join(left)
			settle(joined)
			base := baseLight(joined)
			for _, c := range joined {
				own := c.nearest(c.white)
				out[c.index] = Accord{Group: group, Views: len(joined), Light: c.light.plus(own), Moved: c.white.minus(own), Base: base}
			}
			group++
		}
	}
	return out
}

// claimant is a view with the whites it can offer.
type claimant struct {
	index int
	*tally
	offers []candidate // score as a share of the best one's
	best   float64     // score of the best
	white  chroma
	least  float64 // match that joins it to others
}

const (
	leastOffer   = 0.03 // whites this unlikely to the view itself are not offered
	strangeOffer = 0.8  // the same where the neighbours may be of other rooms, which don't talk a view out of what it shows
	otherLight   = 0.2  // how likely the light of one room is another in another view
	leastMatch   = 0.25 // views of one room that match less do not share a light
	strangeMatch = 0.85 // the same where it is not known whether the room is one
	mostPaints   = 40   // so many are compared
	ownWord      = 0.5  // weight of what a view finds likely alone, against a neighbour's word
)

func newClaimant(i int, e *Evidence, strange bool) *claimant {
	c := &claimant{index: i, tally: newTally(e), white: e.White, least: leastMatch}
	if strange {
		c.least = strangeMatch
	}
	all := c.candidates()
	for _, o := range all {
		c.best = math.Max(c.best, o.score)
	}
	least := leastOffer
	if strange {
		least = strangeOffer
	}
	for _, o := range all {
		if o.score > least*c.best {
			c.offers = append(c.offers, candidate{o.white, o.score / c.best})
		}
	}
	if len(c.offers) == 0 {
		c.offers = []candidate{{e.White, 1}}
	}
	return c
}

// join finds the claim that most views can join, and parts the views into those that
// do, each with its white set, and the rest.
func join(all []*claimant) (joined, rest []*claimant) {
	var best *claimant
	var bestOffer candidate
	bestSum := math.Inf(-1)
	for _, c := range all {
		for _, o := range c.offers {
			sum := ownWord * math.Log(o.score)
			for _, d := range all {
				if d != c {
					_, gain := d.answer(c, o.white)
					sum += gain
				}
			}
			if sum > bestSum {
				best, bestOffer, bestSum = c, o, sum
			}
		}
	}
	best.white = bestOffer.white
	joined = append(joined, best)
	for _, d := range all {
		if d == best {
			continue
		}
		w, _ := d.answer(best, bestOffer.white)
		if !d.joins(w, best, bestOffer.white) {
			rest = append(rest, d)
			continue
		}
		d.white = w
		joined = append(joined, d)
	}
	return joined, rest
}

// answer is the white with which the view best joins the claim that white w of c
// makes, and how much that is worth: the logarithm of a likelihood that a view which
// cannot join bounds. To have the same paints in other light is a way to join, too,
// if a worse one. A view that shows no white at all offers none that fits; if it is of
// the same room it is asked again with the whites that would make its paints those of c.
func (d *claimant) answer(c *claimant, w chroma) (white chroma, gain float64) {
	gain = math.Inf(-1)
	try := func(o candidate) (match float64) {
		p, l := d.match(o.white, c, w)
		if g := ownWord*math.Log(o.score) + math.Log(0.02+p*p*math.Max(l, otherLight)); g > gain {
			white, gain = o.white, g
		}
		return p * l
	}
	fits := 0.0
	for _, o := range d.offers {
		fits = math.Max(fits, try(o))
	}
	if fits < 0.7 && d.least == leastMatch {
		for _, o := range d.aligned(c, w) {
			try(o)
		}
	}
	return white, math.Max(gain, math.Log(0.02))
}

// joins says whether two views share room and light.
func (d *claimant) joins(wd chroma, c *claimant, wc chroma) bool {
	p, l := d.match(wd, c, wc)
	return l >= d.least && p >= math.Min(d.least, 0.5)
}

// aligned are the whites that would make one large paint of d the same as one of c, if
// c's white is w.
func (d *claimant) aligned(c *claimant, w chroma) (out []candidate) {
	for _, p := range d.large() {
		for _, q := range c.large() {
			white := p.chroma().minus(q.chroma().minus(w))
			out = append(out, candidate{white, math.Max(leastOffer, d.score(white)/math.Max(d.best, 1e-9))})
		}
	}
	return out
}

// large are the paints worth aligning.
func (c *claimant) large() []Paint {
	n := 0
	for n < min(8, len(c.Paints)) && c.Paints[n].Share > 0.01 {
		n++
	}
	return c.Paints[:n]
}

// match is how well two views fit into one room and under one light, 0..1, if their
// whites are wd and wc.
func (d *claimant) match(wd chroma, c *claimant, wc chroma) (paints, light float64) {
	if d.Rendered || c.Rendered { // each has a balance of its own
		return d.samePaints(wd, c, wc), 1
	}
	if light = d.sameLight(wd, c, wc); d.least == strangeMatch && light < d.least {
		return 0, light // strangers under other lights have nothing to say to each other
	}
	return d.samePaints(wd, c, wc), light
}

// sameLight compares the lights of two views: the ranges of colour temperature
// overlap, the means are not too far apart and they lie at one distance from the locus.
func (d *claimant) sameLight(wd chroma, c *claimant, wc chroma) float64 {
	warmD, coolD, meanD, duvD := d.mireds(wd)
	warmC, coolC, meanC, duvC := c.mireds(wc)
	gap := math.Max(0, math.Max(coolD-warmC, coolC-warmD))
	return gauss(gap, 25) * gauss(meanD-meanC, 50) * gauss(duvD-duvC, 0.008)
}

// mireds are the ends and the mean of a view's light in mired, and the mean's Duv, if
// white is w.
func (c *claimant) mireds(w chroma) (warm, cool, mean, duv float64) {
	k, duv := colour.CCT(c.light.plus(w).xy())
	kw, _ := colour.CCT(chroma(c.Lights[0]).plus(w).xy())
	kc, _ := colour.CCT(chroma(c.Lights[9]).plus(w).xy())
	return 1e6 / kw, 1e6 / kc, 1e6 / k, duv
}

// paintWidth is how far in log chroma one paint may come out in two views, as shading,
// gloss and bounced light differ.
const paintWidth = 0.06

// samePaints is the share 0..1 of one view's area whose paint is also seen in the other,
// if their whites are wd and wc: of the view of which it is the larger.
func (d *claimant) samePaints(wd chroma, c *claimant, wc chroma) float64 {
	return math.Max(d.seenIn(wd, c, wc), c.seenIn(wc, d, wd))
}

func (d *claimant) seenIn(wd chroma, c *claimant, wc chroma) float64 {
	ld, lc := d.whiteLevel(wd), c.whiteLevel(wc)
	// Where hardly anything is white the level of white is not known.
	width := 0.4 + 1.6*math.Max(1-10*d.support(wd), 0) + 1.6*math.Max(1-10*c.support(wc), 0)
	var sum, area float64
	for _, p := range d.Paints[:min(mostPaints, len(d.Paints))] {
		best := 0.0
		for _, q := range c.Paints[:min(mostPaints, len(c.Paints))] {
			a := p.chroma().minus(wd).minus(q.chroma().minus(wc))
			if a[0]*a[0]+a[1]*a[1] > 12*paintWidth*paintWidth {
				continue // by far another
			}
			best = math.Max(best, kernel(a, paintWidth)*gauss(p.Lum-ld-q.Lum+lc, width))
		}
		sum += p.Share * best
		area += p.Share
	}
	return sum / math.Max(area, 1e-12)
}

// settle moves the whites of joined views a little, so that the paints they share fall
// together. Views that show more white move less.
func settle(all []*claimant) {
	if len(all) < 2 {
		return
	}
	moved := make([]chroma, len(all))
	sure := make([]float64, len(all))
	for i, c := range all {
		sure[i] = c.support(c.white) + 1e-3
	}
	for range 6 {
		var mean chroma
		var w float64
		for i, c := range all {
			moved[i] = c.towards(all, sure)
			mean = mean.plus(moved[i].times(sure[i]))
			w += sure[i]
		}
		for i, c := range all {
			c.white = c.white.plus(moved[i].minus(mean.times(1 / w)))
		}
	}
}

// towards is the move of c's white that brings its paints nearer to the others'.
func (c *claimant) towards(all []*claimant, sure []float64) chroma {
	var sum chroma
	w := 0.05 // a view that has nothing in common stays
	lc := c.whiteLevel(c.white)
	for n, d := range all {
		if d == c {
			continue
		}
		ld := d.whiteLevel(d.white)
		for i, p := range c.Paints[:min(mostPaints, len(c.Paints))] {
			for j, q := range d.Paints[:min(mostPaints, len(d.Paints))] {
				a := p.chroma().minus(c.white).minus(q.chroma().minus(d.white))
				if a[0]*a[0]+a[1]*a[1] > 12*alike*alike {
					continue
				}
				k := sure[n] * c.vote[i] * d.vote[j] * kernel(a, alike) * gauss(p.Lum-lc-q.Lum+ld, 0.4)
				sum, w = sum.plus(a.times(k)), w+k
			}
		}
	}
	return sum.times(0.5 / w)
}

// baseLight is the base of the light of all the views together.
func baseLight(all []*claimant) chroma {
	var samples []lightSample
	for _, c := range all {
		for _, l := range c.Lights {
			samples = append(samples, lightSample{c: chroma(l).plus(c.white), weight: 1})
		}
	}
	_, _, base := parted(samples)
	return base
}

// binds says whether there are neighbours to fit.
func (a *Accord) binds() bool { return a != nil && a.Views > 1 }

// framing is how far, in log chroma, the mean light of a view may move when it is
// straightened.
const framing = 0.03

// agreed is the white of the view that fits the accord.
func (t *tally) agreed(a *Accord) chroma {
	if !a.binds() {
		return t.White
	}
	return t.nearest(chroma(a.Light).minus(t.light)).plus(a.Moved)
}

// nearest is the white nearest to w that the view itself may take for white, or w where
// there is none so near that only the framing may have moved it.
func (t *tally) nearest(w chroma) chroma {
	best, near := w, framing
	for _, c := range t.candidates() {
		d := c.white.minus(w)
		if r := math.Hypot(d[0], d[1]); r < near {
			best, near = c.white, r
		}
	}
	return best
}
