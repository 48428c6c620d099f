package deliver

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// Check compares a set of pictures with the sheet's rules before anything is written,
// and returns what does not fit in full sentences. It shortens and drops nothing: that
// is for a person to decide. Pictures that are not made yet are judged by the size
// they will have (Item.Width and Height).
func (s Sheet) Check(items []Item) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if over := s.Over(len(items)); over > 0 {
		say("There are %d pictures and sheet %s takes %d: set %d aside.", len(items), s.Name, s.Set.MaxCount, over)
	} else if n := len(items); s.Set.WarnCount > 0 && n > s.Set.WarnCount {
		say("There are %d pictures; above %d a listing service may refuse some (sheet %s).", n, s.Set.WarnCount, s.Name)
	}
	if len(items) > 0 {
		s.checkFirst(items[0], say)
	}
	s.checkWords(items, say)
	s.checkPixels(items, say)
	s.checkNames(items, say)
	return out
}

// Over is how many of n pictures are more than the sheet takes.
func (s Sheet) Over(n int) int {
	if s.Set.MaxCount == 0 {
		return 0
	}
	return max(0, n-s.Set.MaxCount)
}

type teller func(format string, args ...any)

func (s Sheet) checkFirst(it Item, say teller) {
	if it.Altered != "" {
		say("Something was taken out of the first picture; listing services ask for it unaltered. Put another picture first.")
	}
	switch {
	case s.Set.First != "front" || IsFront(it.Room):
	case strings.TrimSpace(it.Room) == "":
		say("The first picture has no room, so nobody knows whether it shows the front of the house, which sheet %s asks for first.", s.Name)
	default:
		say("The first picture is %q; sheet %s asks for the front of the house first.", line(it.Room), s.Name)
	}
}

func (s Sheet) checkWords(items []Item, say teller) {
	for _, it := range items {
		if n := utf8.RuneCountInString(it.Caption); s.Text.CaptionMax > 0 && n > s.Text.CaptionMax {
			say("The caption of picture %d has %d characters and sheet %s takes %d: shorten it.", it.Order, n, s.Name, s.Text.CaptionMax)
		}
		if n := utf8.RuneCountInString(it.label()); s.Text.TitleMax > 0 && n > s.Text.TitleMax {
			say("The name of picture %d has %d characters and sheet %s takes %d: shorten it.", it.Order, n, s.Name, s.Text.TitleMax)
		}
	}
}

// fewBytes is how many bytes a pixel a good photograph of a room needs at least at
// 4:2:0; common practice, no source.
const fewBytes = 0.08

// checkPixels looks at size, ratio and bytes, and names the pictures by number.
func (s Sheet) checkPixels(items []Item, say teller) {
	var small, cut, tight []int
	lost := 0.
	for _, it := range items {
		if it.Width == 0 || it.Height == 0 {
			continue
		}
		f := s.Pixels.fit(it.Width, it.Height)
		if max(f.outW, f.outH) < s.Pixels.WarnBelow {
			small = append(small, it.Order)
		}
		if l := 1 - float64(f.w)*float64(f.h)/float64(it.Width)/float64(it.Height); l > 0.005 {
			cut, lost = append(cut, it.Order), max(lost, l)
		}
		if s.File.MaxBytes > 0 && float64(s.File.MaxBytes) < fewBytes*float64(f.outW)*float64(f.outH) {
			tight = append(tight, it.Order)
		}
	}
	if len(small) > 0 {
		say("%s smaller than the %d pixels that sheet %s asks for, and nothing is enlarged.", numbers(small, "is", "are"), s.Pixels.WarnBelow, s.Name)
	}
	if len(cut) > 0 {
		say("%s up to %.0f %% to the ratio %s of sheet %s.", numbers(cut, "loses", "lose"), math.Ceil(100*lost), s.Pixels.Ratio, s.Name)
	}
	if len(tight) > 0 {
		say("%s more pixels than fit %d bytes well (sheet %s); they will be coded coarsely or reduced.", numbers(tight, "has", "have"), s.File.MaxBytes, s.Name)
	}
}

// checkNames finds rooms that a file name can't say.
func (s Sheet) checkNames(items []Item, say teller) {
	if !strings.Contains(s.Set.Names, "{room}") {
		return
	}
	var nameless, foreign, unprintable []int
	for _, it := range items {
		switch room := strings.TrimSpace(it.Room); {
		case room == "":
			nameless = append(nameless, it.Order)
		case Slug(room) == "":
			foreign = append(foreign, it.Order)
		}
		if drawable(it.Room) != it.Room {
			unprintable = append(unprintable, it.Order)
		}
	}
	if len(nameless) > 0 {
		say("%s no room; the file is named by its number.", numbers(nameless, "has", "have"))
	}
	if len(unprintable) > 0 {
		say("%s a room in letters that the contact sheet can't print (it has Latin, Greek and Cyrillic); boxes stand for them there. The gallery shows them.", numbers(unprintable, "has", "have"))
	}
	if len(foreign) > 0 {
		say("%s a room in letters that file names can't have; the file is named by its number.", numbers(foreign, "has", "have"))
	}
}

// numbers is a subject with its verb: "Pictures 2, 3 and 9 are".
func numbers(n []int, one, many string) string {
	if len(n) == 1 {
		return fmt.Sprintf("Picture %d %s", n[0], one)
	}
	var b strings.Builder
	for i, k := range n[:len(n)-1] {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprint(&b, k)
	}
	return fmt.Sprintf("Pictures %s and %d %s", b.String(), n[len(n)-1], many)
}
