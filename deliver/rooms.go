package deliver

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// stage is a part of the way a buyer walks through a house.
type stage int

// The walking order of a gallery, as photographers and marketing desks publish it: the
// front, the way in, the rooms one lives in, then upstairs from the largest bedroom to
// the smallest, what is left of the house, the garden, the surroundings.
const (
	front stage = iota
	entry
	living
	dining
	kitchen
	family
	powder
	landing
	primaryBedroom
	primaryBath
	bedroom
	bath
	upperTerrace
	laundry
	study
	basement
	garage
	rear
	garden
	surroundings
	unknown
)

// roomWords are what rooms are called, in a few languages; a name belongs to the first
// stage that has one of its words. Longer names come before the words in them.
var roomWords = []struct {
	stage stage
	words []string
}{
	{powder, []string{"powder", "half bath", "guest wc", "guest toilet", "cloakroom", "gaeste wc", "gaste wc", "aseo", "wc", "toilet", "toilette", "toilettes"}},
	{primaryBath, []string{"primary bath", "primary bathroom", "main bath", "main bathroom", "ensuite", "en suite", "owner's bath", "owners bath", "primary shower"}},
	{primaryBedroom, []string{"primary bedroom", "primary", "main bedroom", "owner's bedroom", "owners bedroom", "principal bedroom", "chambre principale", "dormitorio principal", "elternschlafzimmer"}},
	{upperTerrace, []string{"upper terrace", "roof terrace", "rooftop", "balcony", "loggia", "balkon", "balcon", "dachterrasse"}},
	{rear, []string{"rear", "back exterior", "back of house", "back", "rueckseite", "ruckseite", "gartenseite", "patio", "deck", "terrace", "terrasse", "veranda", "terraza", "pergola"}},
	{garden, []string{"garden", "yard", "backyard", "lawn", "pool", "garten", "jardin", "tuin", "giardino", "piscina", "piscine", "schwimmbad"}},
	{surroundings, []string{"view", "views", "street", "aerial", "drone", "neighbourhood", "neighborhood", "amenities", "amenity", "floor plan", "floorplan", "aussicht", "strasse", "luftbild", "grundriss", "vue", "rue", "vista", "calle", "lobby", "gym", "clubhouse"}},
	{front, []string{"front", "front exterior", "exterior", "facade", "elevation", "kerb", "curb", "outside", "vorderseite", "fassade", "aussenansicht", "fachada", "facciata", "gevel", "exterieur", "hausfront"}},
	{landing, []string{"landing", "stairs", "staircase", "stair", "stairwell", "upstairs hall", "upper hall", "treppe", "treppenhaus", "escalier", "palier", "escalera"}},
	{entry, []string{"entry", "entrance", "entryway", "foyer", "hall", "hallway", "vestibule", "porch", "eingang", "diele", "flur", "entree", "entrada", "recibidor", "ingresso", "gang", "lobby hall"}},
	{dining, []string{"dining", "dining room", "breakfast", "breakfast nook", "esszimmer", "essbereich", "salle a manger", "comedor", "eetkamer"}},
	{kitchen, []string{"kitchen", "kitchenette", "pantry", "kueche", "kuche", "cuisine", "cocina", "cucina", "keuken", "kokken", "kok"}},
	{family, []string{"family", "family room", "den", "snug", "play room", "playroom", "tv room", "media room", "bonus room", "spielzimmer"}},
	{living, []string{"living", "living room", "lounge", "sitting", "sitting room", "great room", "reception", "drawing room", "wohnzimmer", "wohnen", "salon", "sejour", "sala", "soggiorno", "woonkamer", "stue"}},
	{bath, []string{"bath", "bathroom", "shower", "shower room", "badezimmer", "bad", "dusche", "salle de bain", "salle de bains", "salle d'eau", "bano", "bagno", "badkamer"}},
	{bedroom, []string{"bedroom", "bed", "guest", "guest room", "nursery", "kids", "kids' room", "child's room", "children's room", "schlafzimmer", "kinderzimmer", "gaestezimmer", "gastezimmer", "chambre", "dormitorio", "habitacion", "camera", "slaapkamer", "schlafen"}},
	{laundry, []string{"laundry", "utility", "utility room", "mud room", "mudroom", "boot room", "hauswirtschaftsraum", "waschkueche", "buanderie", "lavadero"}},
	{study, []string{"study", "office", "home office", "library", "arbeitszimmer", "buero", "buro", "bureau", "despacho", "studio", "hobby room", "exercise", "music room", "attic", "loft", "dachboden", "grenier"}},
	{basement, []string{"basement", "cellar", "wine cellar", "keller", "cave", "sotano", "cantina", "kelder"}},
	{garage, []string{"garage", "carport", "workshop", "shed", "storage", "werkstatt", "barn", "stable"}},
}

// stageOf reads a stage from a room's name: its longest known words decide, and of
// equally long ones the last, which is the noun in most languages ("kitchen garden").
func stageOf(room string) stage {
	name := " " + plainWords(room) + " "
	best, length, at := unknown, 0, -1
	for _, r := range roomWords {
		for _, w := range r.words {
			i := strings.LastIndex(name, " "+plainWords(w)+" ")
			if i < 0 {
				continue
			}
			if n := len(strings.Fields(plainWords(w))); n > length || n == length && i > at {
				best, length, at = r.stage, n, i
			}
		}
	}
	return best
}

// plainWords are a name's words in a to z, without digits.
func plainWords(s string) string {
	return strings.Join(strings.FieldsFunc(Slug(s), func(r rune) bool { return r == '-' || unicode.IsDigit(r) }), " ")
}

// IsFront reports whether a room's name says that the picture shows the front of the
// house from outside.
func IsFront(room string) bool { return stageOf(room) == front }

// Placing is what decides where a picture stands in the gallery.
type Placing struct {
	Room  string
	Place int // from 1, when a person said so; else 0
}

// Arrange returns the gallery order of pictures given in shooting order, as indices.
// Places that a person gave come first of all rules. Without any room's name the rest
// keeps its shooting order. With names it follows the way a buyer walks: pictures of
// one room stay together, a bath follows the bedroom it was shot beside, and a picture
// whose room says nothing stays behind the one it was shot after.
func Arrange(pictures []Placing) []int {
	walk := walked(pictures)
	out := make([]int, len(pictures))
	for i := range out {
		out[i] = -1
	}
	byPlace := slices.Clone(walk)
	slices.SortStableFunc(byPlace, func(a, b int) int { return pictures[a].Place - pictures[b].Place })
	for _, i := range byPlace {
		if p := pictures[i].Place; p > 0 {
			at := min(p, len(out)) - 1
			for out[at] >= 0 {
				at = (at + 1) % len(out)
			}
			out[at] = i
		}
	}
	at := 0
	for _, i := range walk {
		if pictures[i].Place > 0 {
			continue
		}
		for out[at] >= 0 {
			at++
		}
		out[at] = i
	}
	return out
}

// walked is the order without anybody's places.
func walked(pictures []Placing) []int {
	order := make([]int, len(pictures))
	stages := make([]stage, len(pictures))
	group := make([]int, len(pictures)) // the first picture that it belongs behind
	first := map[string]int{}
	named, before := false, -1
	for i, p := range pictures {
		order[i], group[i] = i, i
		stages[i] = stageOf(p.Room)
		name := strings.ToLower(strings.Join(strings.Fields(p.Room), " "))
		switch j, again := first[name]; {
		case again && name != "":
			stages[i], group[i] = stages[j], group[j]
		case stages[i] == unknown && before >= 0:
			stages[i], group[i] = stages[before], group[before]
		case stages[i] == bath && before >= 0 && (stages[before] == primaryBedroom || stages[before] == bedroom):
			if stages[before] == primaryBedroom {
				stages[i] = primaryBath
			} else {
				stages[i], group[i] = bedroom, group[before]
			}
		}
		if name != "" {
			named = true
			if _, ok := first[name]; !ok {
				first[name] = i
			}
		}
		before = i
	}
	if !named {
		return order
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if stages[a] != stages[b] {
			return int(stages[a]) - int(stages[b])
		}
		return group[a] - group[b]
	})
	return order
}

// Surplus returns which of the pictures, given in gallery order, to set aside so that
// n are left: from the room with the most pictures its last one, again and again; of
// rooms with equally many the one that comes last. The first picture stays. n below 1
// keeps all.
func Surplus(rooms []string, n int) []int {
	var aside []int
	out := make([]bool, len(rooms))
	for n > 0 && len(rooms)-len(aside) > n {
		count, last := map[string]int{}, map[string]int{}
		for i, r := range rooms {
			if !out[i] {
				r = roomKey(r, i)
				count[r]++
				last[r] = i
			}
		}
		pick := -1
		for r, i := range last {
			if i > 0 && (pick < 0 || count[r] > count[roomKey(rooms[pick], pick)] || count[r] == count[roomKey(rooms[pick], pick)] && i > pick) {
				pick = i
			}
		}
		if pick < 0 {
			break
		}
		out[pick] = true
		aside = append(aside, pick)
	}
	slices.Sort(aside)
	return aside
}

// roomKey is a room's name; a picture without one is a room of its own.
func roomKey(room string, i int) string {
	if name := plainWords(room); name != "" {
		return strings.ToLower(strings.Join(strings.Fields(room), " "))
	}
	return "#" + strconv.Itoa(i)
}
