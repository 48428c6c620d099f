package deliver

import (
	"slices"
	"testing"
)

// The walking order: front, entry, living, dining, kitchen, family,
// powder room, primary bedroom and its bath, other bedrooms, hall bath, upper terrace,
// laundry, office, basement, garage, rear, garden, views (published by marketing desks
// and photographers; see the package's list).
func TestWalkingOrder(t *testing.T) {
	rooms := []string{"Garage", "View", "Kitchen", "Front exterior", "Living room", "Bedroom 2", "Hall bath", "Primary bedroom",
		"Bath", "Foyer", "Dining room", "Garden", "Laundry", "Powder room", "Family room", "Balcony", "Basement", "Office", "Rear terrace"}
	want := []string{"Front exterior", "Foyer", "Living room", "Dining room", "Kitchen", "Family room", "Powder room", "Primary bedroom",
		"Bath", "Bedroom 2", "Hall bath", "Balcony", "Laundry", "Office", "Basement", "Garage", "Rear terrace", "Garden", "View"}
	var pictures []Placing
	for _, r := range rooms {
		pictures = append(pictures, Placing{Room: r})
	}
	var got []string
	for _, i := range Arrange(pictures) {
		got = append(got, rooms[i])
	}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant\n%q", got, want)
	}
}

func TestArrange(t *testing.T) {
	for what, c := range map[string]struct {
		pictures []Placing
		want     []int
	}{
		"no names":               {[]Placing{{}, {}, {}}, []int{0, 1, 2}},
		"nobody's rooms follow":  {[]Placing{{Room: "Kitchen"}, {}, {Room: "Entry"}, {Room: "Xyz"}}, []int{2, 3, 0, 1}},
		"rooms stay together":    {[]Placing{{Room: "Kitchen"}, {Room: "Entry"}, {Room: "kitchen "}}, []int{1, 0, 2}},
		"other languages":        {[]Placing{{Room: "Küche"}, {Room: "Salle de bains"}, {Room: "Wohnzimmer"}, {Room: "Façade"}}, []int{3, 2, 0, 1}},
		"places":                 {[]Placing{{Room: "Kitchen", Place: 1}, {Room: "Front"}, {Room: "Entry"}}, []int{0, 1, 2}},
		"two want one place":     {[]Placing{{Place: 2}, {Place: 2}, {}}, []int{2, 0, 1}},
		"a place beyond the end": {[]Placing{{Place: 9}, {}, {}}, []int{1, 2, 0}},
		"a bath of its own":      {[]Placing{{Room: "Bath"}, {Room: "Bedroom 1"}, {Room: "Bedroom 2"}, {Room: "Bathroom"}, {Room: "Bedroom 3"}}, []int{1, 2, 3, 4, 0}},
	} {
		if got := Arrange(c.pictures); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", what, got, c.want)
		}
	}
	if !IsFront("Front exterior") || !IsFront("Fassade") || IsFront("Kitchen") || IsFront("Rear") || IsFront("") {
		t.Error("the front is not told from other rooms")
	}
	for room, want := range map[string]stage{"Kitchen garden": garden, "Guest WC": powder, "Main bedroom": primaryBedroom, "Downstairs hall": entry, "Gästezimmer": bedroom, "Street view": surroundings, "Plan B": unknown} {
		if got := stageOf(room); got != want {
			t.Errorf("%s is stage %d, want %d", room, got, want)
		}
	}
}

func TestSurplus(t *testing.T) {
	rooms := []string{"Front", "Kitchen", "Kitchen", "Kitchen", "Bath", "Bath", "Garden"}
	for n, want := range map[int][]int{0: nil, 7: nil, 6: {3}, 5: {3, 5}, 4: {2, 3, 5}, 3: {2, 3, 5, 6}, 1: {1, 2, 3, 4, 5, 6}} {
		if got := Surplus(rooms, n); !slices.Equal(got, want) {
			t.Errorf("%d of %d: %v set aside, want %v", n, len(rooms), got, want)
		}
	}
	if got := Surplus([]string{"", "", ""}, 2); !slices.Equal(got, []int{2}) {
		t.Errorf("without names: %v", got)
	}
}
