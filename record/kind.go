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

// The words are English, in British and American spelling. What is said in another
// language is not understood, and the same is asked of whoever says it.
var refused = []struct {
	reason   string
	anywhere bool // among the words, not only as the noun they end with
	things   []string
}{
	{outside, false, []string{"power line", "power cable", "overhead line", "overhead wire", "overhead cable", "electric line", "telephone line", "phone line", "telephone wire",
		"utility pole", "telephone pole", "telegraph pole", "power pole", "electricity pole", "pylon", "transmission tower", "cell tower", "mast", "hydrant", "wind turbine",
		"neighbouring building", "neighboring building", "neighbouring house", "neighboring house", "neighbour", "neighbor", "neighbour's house", "next door",
		"road", "street", "motorway", "highway", "railway", "railroad", "view", "tree", "hedge", "hill", "mountain", "sky", "street light", "street lamp", "street sign", "road sign", "lamp post",
		"drain", "manhole", "building", "factory", "lot line", "boundary", "substation", "transformer"}},
	{defect, true, []string{"crack", "stain", "damp", "mould", "mold", "mildew", "rotten", "rust", "water damage", "water mark", "flood damage", "fire damage", "smoke damage",
		"peeling", "flaking", "subsidence", "asbestos", "graffiti", "broken tile", "broken window", "broken glass", "missing tile"}},
	{defect, false, []string{"rot", "leak", "hole", "damage", "scratch", "burn", "dent", "defect", "pest", "termite", "woodworm"}},
	{fixed, false, []string{"outlet", "socket", "plug point", "power point", "light switch", "switch", "dimmer", "fixed wiring", "wiring", "wire", "conduit", "trunking", "pipe", "pipework",
		"radiator", "vent", "grille", "meter", "fuse box", "breaker box", "consumer unit", "boiler", "water heater", "air conditioner", "heat pump", "wall", "window", "door", "floor",
		"floorboard", "ceiling", "cabinet", "cupboard", "appliance", "fixture", "lamp fitting", "light fitting", "light fixture", "ceiling fan", "fence", "pool", "stairs",
		"stair", "staircase", "column", "pillar", "beam", "fireplace", "chimney", "roof", "gutter", "downpipe", "smoke detector", "smoke alarm", "carbon monoxide alarm", "sprinkler",
		"alarm panel", "security camera", "handrail", "railing", "ramp", "solar panel", "satellite dish", "antenna", "aerial", "septic tank"}},
}

// Check returns what is to be said of a thing in a caption, or why it can't be done:
// a [Refusal] for what must stay. words describe kind "other" and may refine others; they
// are read as English.
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
var places = []string{" on ", " in ", " at ", " by ", " under ", " beside ", " near ", " against ", " behind ", " before ", " from ", " along ", " over ", " across ", " of ", " that ", " which ", " outside ", " inside "}

// refusal finds a thing that must stay among the words said. Plurals, "cracked" and
// "mouldy" count too, and words written together. The noun at the end of what is said
// decides: a door mat is a mat.
func refusal(said string) *Refusal {
	for _, part := range parts(said) {
		for _, group := range refused {
			for _, thing := range group.things {
				for _, one := range []string{thing, strings.ReplaceAll(thing, " ", "")} {
					for _, ending := range endings {
						word := " " + one + ending + " "
						if strings.HasSuffix(part, word) || group.anywhere && strings.Contains(part, word) {
							return &Refusal{thing, group.reason}
						}
					}
				}
			}
		}
	}
	return nil
}

var endings = []string{"", "s", "es", "'s", "’s", "s'", "ed", "d", "y", "ing", "ness"}

// parts are the things that are said, without where they are, with a blank at both ends.
func parts(said string) []string {
	said = strings.ToLower(said)
	for _, and := range []string{" and ", " or ", " with ", "&", "+", ",", ";", "/"} {
		said = strings.ReplaceAll(said, and, "|")
	}
	var out []string
	for _, part := range strings.Split(said, "|") {
		part = " " + strings.Join(strings.FieldsFunc(part, func(r rune) bool { return strings.ContainsRune(" -_.:()", r) }), " ") + " "
		for _, p := range places {
			if before, _, cut := strings.Cut(part, p); cut && strings.TrimSpace(before) != "" {
				part = before + " "
			}
		}
		out = append(out, part)
	}
	return out
}
