package finish

import (
	"mullion/deliver"
	"mullion/shoot"
)

// gallery returns the views of a shoot that are delivered, in the order of the
// gallery, and those that are set aside because fewer pictures were agreed on. Views
// that are left out are in neither.
func gallery(d *shoot.Doc) (views, aside []shoot.View) {
	var all []shoot.View
	var placing []deliver.Placing
	for _, v := range d.Views {
		if !v.Decisions.LeaveOut {
			all = append(all, v)
			placing = append(placing, deliver.Placing{Room: v.Room, Place: v.Order})
		}
	}
	var ordered []shoot.View
	var rooms []string
	for _, i := range deliver.Arrange(placing) {
		ordered = append(ordered, all[i])
		rooms = append(rooms, all[i].Room)
	}
	count := 0
	if d.Pack != nil {
		count = d.Pack.Count
	}
	out := map[int]bool{}
	for _, i := range deliver.Surplus(rooms, count) {
		out[i] = true
	}
	for i, v := range ordered {
		if out[i] {
			aside = append(aside, v)
		} else {
			views = append(views, v)
		}
	}
	return views, aside
}

// Gallery is [gallery] by the views' IDs, for whoever shows or changes the order.
func Gallery(d *shoot.Doc) (views, aside []string) {
	in, out := gallery(d)
	for _, v := range in {
		views = append(views, v.ID)
	}
	for _, v := range out {
		aside = append(aside, v.ID)
	}
	return views, aside
}

// numberRooms tells every view which picture of its room it is, and of how many.
func (l *line) numberRooms() {
	of, nth := map[string]int{}, map[string]int{}
	for _, w := range l.work {
		of[roomOf(w.view)]++
	}
	for _, w := range l.work {
		room := roomOf(w.view)
		nth[room]++
		w.nth, w.of = nth[room], of[room]
	}
}

// word fills in what a file says in words: the user's own, or plain sentences made
// from the room.
func (l *line) word(a *deliver.About, w *work) {
	a.Description, a.AltText = deliver.Describe(w.view.Room, w.order, w.nth, w.of)
	if w.view.Caption != "" {
		a.Description = w.view.Caption
	}
	if w.view.Alt != "" {
		a.AltText = w.view.Alt
	}
	a.Headline = w.view.Room
	a.Who = l.job.Who
}
