package whitebalance

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// crop is a part of the room, as another view would show it.
func (r *room) crop(x, y, w, h int) *room {
	q := *r
	q.img, q.window, q.albedo = r.img.Crop(x, y, w, h).Clone(), r.window.Crop(x, y, w, h).Clone(), r.albedo.Crop(x, y, w, h).Clone()
	return &q
}

// scaled multiplies the radiance: another exposure, or dimmer light.
func (r *room) scaled(f float32) *room {
	q := *r
	q.img = r.img.Clone()
	for _, p := range q.img {
		for i := range p.Pix {
			p.Pix[i] *= f
		}
	}
	return &q
}

// together balances rooms alone, solves them together and balances them again.
func together(t *testing.T, name string, rooms ...*room) (alone, joint []score, accords []Accord) {
	t.Helper()
	var views []View
	for _, r := range rooms {
		s, e := r.balance(t, Prior{})
		alone = append(alone, s)
		views = append(views, View{name, e.Evidence()})
	}
	accords = Agree(views)
	for i, r := range rooms {
		s, e := r.balance(t, Prior{Accord: &accords[i]})
		joint = append(joint, s)
		t.Logf("%s: group %d of %d, neutral dE00 %.2f -> %.2f, colour %.2f -> %.2f, %.0f K %+.4f", r.name, accords[i].Group, accords[i].Views,
			alone[i].neutral, s.neutral, alone[i].colour, s.colour, e.Kelvin, e.Duv)
	}
	return alone, joint, accords
}

// apart is dE00 between the mean whites of two balanced views.
func apart(p, q score) float64 {
	return colour.DeltaE(colour.Lab{L: 90, A: p.a, B: p.b}, colour.Lab{L: 90, A: q.a, B: q.b})
}

// The open space of the rendered house in five views: whites within dE00 2 of each
// other, and none the worse for it.
func TestOpenSpaceAgrees(t *testing.T) {
	var rooms []*room
	for _, n := range []string{"entry", "living", "dining", "kitchen", "kitchenwide"} {
		rooms = append(rooms, loadRoom(t, n, ""))
	}
	alone, joint, accords := together(t, "open space", rooms...)
	for i := range rooms {
		if accords[i].Views != len(rooms) {
			t.Errorf("%s shares its light with %d views of %d", rooms[i].name, accords[i].Views, len(rooms))
		}
		if joint[i].neutral > alone[i].neutral+0.3 {
			t.Errorf("%s: neutral %.2f alone, %.2f together", rooms[i].name, alone[i].neutral, joint[i].neutral)
		}
		for j := range i {
			if d := apart(joint[i], joint[j]); d > 2 {
				t.Errorf("the whites of %s and %s differ by dE00 %.2f", rooms[i].name, rooms[j].name, d)
			}
		}
	}
}

// A corner of the kitchen that shows an oak floor and a navy island is set right by
// its neighbours, and a view darker by half is the same view.
func TestNeighboursHelp(t *testing.T) {
	wide, kitchen := loadRoom(t, "kitchenwide", ""), loadRoom(t, "kitchen", "")
	w, h := wide.img.W(), wide.img.H()
	corner := wide.crop(w/3, h*56/100, w*2/5, h*3/10)
	corner.name = "corner"
	twin := kitchen.scaled(0.6)
	twin.name = "twin"
	alone, joint, accords := together(t, "kitchen", wide, corner, kitchen, twin)
	if joint[1].colour > alone[1].colour-1 || joint[1].colour > 6 {
		t.Errorf("the corner: colour %.2f alone, %.2f together", alone[1].colour, joint[1].colour)
	}
	for _, i := range []int{0, 2, 3} {
		if accords[i].Views < 3 || math.Abs(joint[i].neutral-alone[i].neutral) > 0.3 {
			t.Errorf("%+v, neutral %.2f alone, %.2f together", accords[i], alone[i].neutral, joint[i].neutral)
		}
	}
	if d := apart(joint[2], joint[3]); d > 0.1 {
		t.Errorf("a view and the same view darker differ by dE00 %.2f", d)
	}
}

// By day with lamps on, by day, and by night: each has a light of its own, and an
// evening view does not bend the others.
func TestDayAndNight(t *testing.T) {
	rooms := []*room{loadRoom(t, "living", ""), loadRoom(t, "living", "-lamp"), loadRoom(t, "bath", "-day"), loadRoom(t, "living", "").scaled(0.5)}
	alone, joint, accords := together(t, "room", rooms...)
	if accords[0].Views != 2 || accords[3].Group != accords[0].Group || accords[1].Views != 1 || accords[2].Views != 1 {
		t.Errorf("%+v", accords)
	}
	for i := range rooms {
		if joint[i].neutral > alone[i].neutral+0.3 {
			t.Errorf("%s: neutral %.2f alone, %.2f together", rooms[i].name, alone[i].neutral, joint[i].neutral)
		}
	}
}

// Display files of one room, each with an error of its camera's balance of its own: a
// plain cast is taken out by more than a third, no white turns magenta, and neighbours
// make none worse.
func TestRenderedNeighbours(t *testing.T) {
	var rooms []*room
	var views []View
	var before, alone []score
	for i, n := range []string{"kitchenwide", "kitchen"} {
		r := loadRoom(t, n, "").scaled(1)
		e, err := Measure(t.Context(), r.img, r.window, Prior{})
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Apply(t.Context(), r.img, nil); err != nil {
			t.Fatal(err)
		}
		r = r.under(colour.Light([]float64{4600, 5000}[i], 0.003))
		s, e := r.balance(t, Prior{Rendered: true})
		rooms, alone, before = append(rooms, r), append(alone, s), append(before, r.measure(r.img))
		views = append(views, View{"kitchen", e.Evidence()})
	}
	for i, a := range Agree(views) {
		s, _ := rooms[i].balance(t, Prior{Rendered: true, Accord: &a})
		t.Logf("%s of %d: neutral %.2f, alone %.2f, together %.2f, a* %.1f b* %.1f", rooms[i].name, a.Views, before[i].neutral, alone[i].neutral, s.neutral, s.a, s.b)
		if alone[i].neutral > 0.67*before[i].neutral || s.neutral > alone[i].neutral+0.3 || s.a > 1.5 {
			t.Errorf("%s: neutral %.2f, alone %.2f, together %.2f, a* %.1f", rooms[i].name, before[i].neutral, alone[i].neutral, s.neutral, s.a)
		}
	}
}

// An accord holds for the view as it is straightened and cropped after it gave evidence.
func TestAccordOutlivesFraming(t *testing.T) {
	var views []View
	rooms := []*room{loadRoom(t, "kitchenwide", ""), loadRoom(t, "kitchen", "")}
	for _, r := range rooms {
		_, e := r.balance(t, Prior{})
		views = append(views, View{"kitchen", e.Evidence()})
	}
	for i, a := range Agree(views) {
		r := rooms[i]
		s, _ := r.balance(t, Prior{Accord: &a})
		w, h := r.img.W(), r.img.H()
		q := r.crop(w/25, h/20, w-w/12, h-h/15)
		p, _ := q.balance(t, Prior{Accord: &a})
		t.Logf("%s: neutral %.2f, cropped %.2f, apart %.2f", r.name, s.neutral, p.neutral, apart(s, p))
		if d := apart(s, p); d > 0.5 {
			t.Errorf("%s: the crop's white differs by dE00 %.2f", r.name, d)
		}
	}
}

// Views without the name of a room are joined only when they show it plainly; views of
// differently named rooms never are.
func TestStrangeViews(t *testing.T) {
	var rooms []*room
	names := []string{"bath", "shower", "kitchenwide", "entry"}
	for _, n := range names {
		rooms = append(rooms, loadRoom(t, n, ""))
	}
	alone, joint, accords := together(t, "", rooms...)
	if accords[0].Group != accords[1].Group || accords[2].Group != accords[3].Group || accords[0].Group == accords[2].Group {
		t.Errorf("%+v", accords)
	}
	var views []View
	for i, r := range rooms {
		if joint[i].neutral > alone[i].neutral+0.3 {
			t.Errorf("%s: neutral %.2f alone, %.2f together", r.name, alone[i].neutral, joint[i].neutral)
		}
		_, e := r.balance(t, Prior{})
		views = append(views, View{r.name, e.Evidence()})
	}
	for i, a := range Agree(views) {
		if a.Views != 1 {
			t.Errorf("%s alone in its room: %+v", views[i].Room, a)
		}
	}
}

// Evidence and accords come back from JSON to the bit, and with them the picture; the
// order of the views does not matter.
func TestAgreeKept(t *testing.T) {
	rooms := []*room{loadRoom(t, "kitchenwide", ""), loadRoom(t, "kitchen", "")}
	var views, back []View
	for _, r := range rooms {
		_, e := r.balance(t, Prior{XY: [2]float64{0.37, 0.38}})
		views = append(views, View{"kitchen", e.Evidence()})
	}
	kept, err := json.Marshal(views)
	if err != nil {
		t.Fatal(err)
	}
	if len(kept) > 64<<10 {
		t.Errorf("the evidence of two views takes %d bytes", len(kept))
	}
	if err := json.Unmarshal(kept, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(views, back) {
		t.Error("the evidence is another after JSON")
	}
	a, b := Agree(views), Agree(back)
	if !slices.Equal(a, b) {
		t.Errorf("%v, and after JSON %v", a, b)
	}
	slices.Reverse(back)
	b = Agree(back)
	slices.Reverse(b)
	for i := range a {
		if d := chroma(a[i].Light).minus(b[i].Light); math.Hypot(d[0], d[1]) > 1e-9 {
			t.Errorf("view %d: light %v, in another order %v", i, a[i].Light, b[i].Light)
		}
	}
	var once, again *raster.RGB
	for i, out := range []**raster.RGB{&once, &again} {
		_, e := rooms[0].balance(t, Prior{XY: [2]float64{0.37, 0.38}, Accord: &[]Accord{a[0], Agree(views)[0]}[i]})
		*out = rooms[0].img.Clone()
		if err := e.Apply(t.Context(), *out, rooms[0].window); err != nil {
			t.Fatal(err)
		}
	}
	for k := range once {
		if !slices.Equal(once[k].Pix, again[k].Pix) {
			t.Error("the same accord gives another picture")
		}
	}
	if got := Agree(nil); len(got) != 0 {
		t.Errorf("no views agree on %v", got)
	}
	if got := Agree([]View{{"x", Evidence{}}, {"x", views[0].Evidence}}); got[1].Views != 1 {
		t.Errorf("a view that shows nothing bends its neighbour: %+v", got)
	}
}
