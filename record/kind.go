package record

import (
	"fmt"
	"slices"
	"strings"
)

// Action is what was done to a place of a picture.
type Action string

// The two things the program does to a place of a picture.
const (
	Remove Action = "remove" // filled from the rest of the same picture
	Soften Action = "soften" // blurred for good, to keep something private
)

// Kind is a sort of thing that may be removed or softened.
type Kind struct {
	Name  string // on the command line and in files
	Words string // in a caption: "... was taken out"
}

// Kinds returns the kinds an action is for. The last, "other", asks for words of the
// user's own.
func Kinds(a Action) []Kind {
	if a == Soften {
		return []Kind{
			{"face", "a face"}, {"photograph", "a private photograph"}, {"document", "a document"},
			{"plate", "a number plate"}, {"screen", "a screen"}, {"alarm-panel", "an alarm panel"}, {"other", ""},
		}
	}
	return []Kind{
		{"cord", "a loose cord"}, {"bin", "a bin"}, {"sign", "a sign that stood in the picture"},
		{"vehicle", "a parked vehicle"}, {"reflection", "the photographer's reflection"},
		{"dust", "a speck on the lens or sensor"}, {"other", ""},
	}
}

// KindNames is the names of an action's kinds, for messages.
func KindNames(a Action) string {
	var names []string
	for _, k := range Kinds(a) {
		names = append(names, k.Name)
	}
	return strings.Join(names, ", ")
}

// Refusal is the error for a thing that belongs to the property or its surroundings.
type Refusal struct {
	Thing  string
	Reason string
}

func (r *Refusal) Error() string {
	return fmt.Sprintf("a %s is not taken out: %s. What a buyer or tenant would find there stays in the picture; choose another view, or have it mended and photograph again. Local law and the listing service's rules decide beyond that", r.Thing, r.Reason)
}

// What a listing photograph must not hide or change. Sources: rules of listing
// services on altered photographs (nothing permanent; no power lines, hydrants,
// roads, neighbouring buildings, topography or views; no defects such as cracks,
// stains, water damage, mould or wiring) and California B&P Code 10140.8 (fixtures,
// flooring, walls, landscape, things outside).
const (
	outside = "it is part of the property's surroundings, and hiding it misleads about the place"
	defect  = "it is a defect, and hiding it misleads about the property's condition"
	fixed   = "it is part of the property"
)

var refused = []struct {
	reason string
	things []string
}{
	{outside, []string{"power line", "powerline", "pylon", "mast", "hydrant", "neighbouring building", "neighboring building", "neighbour", "neighbor",
		"road", "street", "railway", "view", "tree", "hedge", "hill", "sky", "street light", "drain", "building", "factory"}},
	{defect, []string{"crack", "stain", "damp", "mould", "mold", "rot", "rust", "leak", "water damage", "hole", "damage", "peeling paint", "scratch", "burn", "pest"}},
	{fixed, []string{"outlet", "socket", "light switch", "switch", "fixed wiring", "wiring", "wire", "pipe", "radiator", "vent", "meter", "fuse box", "boiler", "wall", "window",
		"door", "floor", "ceiling", "cabinet", "appliance", "fixture", "lamp fitting", "fence", "pool", "stairs", "stair", "column", "beam", "smoke detector"}},
}

// Check returns what is to be said of a thing in a caption, or why it can't be done:
// a [Refusal] for what must stay. words describe kind "other" and may refine others.
func Check(a Action, kind, words string) (string, error) {
	kind, words = strings.TrimSpace(strings.ToLower(kind)), strings.Join(strings.Fields(words), " ")
	if a == Remove {
		for _, said := range []string{kind, words} {
			if r := refusal(said); r != nil {
				return "", r
			}
		}
	}
	i := slices.IndexFunc(Kinds(a), func(k Kind) bool { return k.Name == kind })
	if i < 0 {
		return "", fmt.Errorf("%q is no kind to %s: the kinds are %s", kind, a, KindNames(a))
	}
	if len(words) > 120 {
		return "", fmt.Errorf("the words %.30q... are %d bytes long; a caption has room for 120", words, len(words))
	}
	if words != "" {
		return words, nil
	}
	if kind == "other" {
		return "", fmt.Errorf("kind \"other\" needs words for the caption and the record: say what it is, like \"a garden hose\"")
	}
	return Kinds(a)[i].Words, nil
}

// places are the words after which it is said where a thing is, not what it is: a toy
// on the floor may go.
var places = []string{" on ", " in ", " at ", " by ", " under ", " beside ", " near ", " against ", " behind ", " before ", " from ", " along ", " over ", " across "}

// refusal finds a thing that must stay among the words said. A plural counts too.
func refusal(said string) *Refusal {
	said = " " + strings.Join(strings.FieldsFunc(strings.ToLower(said), func(r rune) bool { return r == ' ' || r == '-' || r == '_' || r == ',' || r == '.' }), " ") + " "
	for _, p := range places {
		said, _, _ = strings.Cut(said, p)
		said += " "
	}
	for _, group := range refused {
		for _, thing := range group.things {
			for _, form := range []string{thing, thing + "s", thing + "es", thing + "'s", thing + "’s"} {
				if strings.Contains(said, " "+form+" ") {
					return &Refusal{thing, group.reason}
				}
			}
		}
	}
	return nil
}
