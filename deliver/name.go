package deliver

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Namer makes the file names of one delivery and remembers which are taken.
// Its zero value writes names like 01-kitchen.jpg.
type Namer struct {
	Pattern string // of the sheet: {order} and {room}
	Total   int    // pictures in all; from 100 on the order has three digits
	rooms   map[string]int
	taken   map[string]bool
}

// Name returns the file name of a picture: its order (from 1) and room, in a-z,
// 0-9 and hyphens only, which every listing service takes. Without a room it is
// the order alone; a room's second picture gets -2.
func (n *Namer) Name(order int, room string) string {
	if n.rooms == nil {
		n.rooms, n.taken = map[string]int{}, map[string]bool{}
	}
	digits := max(2, len(fmt.Sprint(n.Total)))
	slug := Slug(room)
	if slug != "" {
		n.rooms[slug]++
		if k := n.rooms[slug]; k > 1 {
			slug = fmt.Sprintf("%s-%d", slug, k)
		}
	}
	pattern := n.Pattern
	if pattern == "" {
		pattern = "{order}-{room}"
	}
	stem := strings.NewReplacer("{order}", fmt.Sprintf("%0*d", digits, order), "{room}", slug).Replace(pattern)
	stem = tidyHyphens(stem)
	name := stem
	for k := 2; n.taken[name]; k++ {
		name = fmt.Sprintf("%s-%d", stem, k)
	}
	n.taken[name] = true
	return name + ".jpg"
}

// maxSlug keeps names short enough for every file system and upload form.
const maxSlug = 48

// Slug turns a room's name into a-z, 0-9 and hyphens. Letters with accents lose
// them; German umlauts and the letters of the table are spelled out as usual.
// Scripts that have no letter here are left out.
func Slug(s string) string {
	s = norm.NFC.String(strings.ToLower(strings.ToValidUTF8(s, "")))
	var spelled strings.Builder
	for _, r := range s {
		if to, ok := spelling[r]; ok {
			spelled.WriteString(to)
		} else {
			spelled.WriteRune(r)
		}
	}
	var b strings.Builder
	for _, r := range norm.NFKD.String(spelled.String()) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r) || r == '\'' || r == '’':
		case r < 0x80 || unicode.IsSpace(r) || unicode.IsPunct(r):
			b.WriteByte('-')
		}
	}
	out := tidyHyphens(b.String())
	if len(out) > maxSlug {
		out = tidyHyphens(out[:maxSlug])
	}
	return out
}

func tidyHyphens(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '-' }), "-")
}

// spelling holds the letters that are spelled out rather than stripped of an
// accent: German after DIN 5007-2, Nordic and others as is usual in web
// addresses, Cyrillic and Greek in a plain one-way romanisation.
var spelling = map[rune]string{
	'ä': "ae", 'ö': "oe", 'ü': "ue", 'ß': "ss", 'æ': "ae", 'ø': "oe", 'å': "aa", 'œ': "oe", 'þ': "th", 'ð': "d",
	'đ': "d", 'ł': "l", 'ħ': "h", 'ı': "i", '&': "-and-",

	'а': "a", 'б': "b", 'в': "v", 'г': "g", 'д': "d", 'е': "e", 'ё': "e", 'ж': "zh", 'з': "z", 'и': "i", 'й': "i",
	'к': "k", 'л': "l", 'м': "m", 'н': "n", 'о': "o", 'п': "p", 'р': "r", 'с': "s", 'т': "t", 'у': "u", 'ф': "f",
	'х': "kh", 'ц': "ts", 'ч': "ch", 'ш': "sh", 'щ': "shch", 'ъ': "", 'ы': "y", 'ь': "", 'э': "e", 'ю': "yu", 'я': "ya",
	'і': "i", 'ї': "i", 'є': "ie", 'ґ': "g",

	'α': "a", 'β': "v", 'γ': "g", 'δ': "d", 'ε': "e", 'ζ': "z", 'η': "i", 'θ': "th", 'ι': "i", 'κ': "k", 'λ': "l",
	'μ': "m", 'ν': "n", 'ξ': "x", 'ο': "o", 'π': "p", 'ρ': "r", 'σ': "s", 'ς': "s", 'τ': "t", 'υ': "y", 'φ': "f",
	'χ': "ch", 'ψ': "ps", 'ω': "o", 'ά': "a", 'έ': "e", 'ή': "i", 'ί': "i", 'ό': "o", 'ύ': "y", 'ώ': "o",
}
