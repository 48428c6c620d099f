package deliver

import (
	"fmt"
	"unicode/utf8"
)

// Check compares a set of pictures with the sheet's rules for the set and its
// words, before anything is written, and returns what does not fit in full
// sentences. It shortens and drops nothing: that is for a person to decide.
func (s Sheet) Check(items []Item) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch n := len(items); {
	case s.Set.MaxCount > 0 && n > s.Set.MaxCount:
		say("There are %d pictures and sheet %s takes %d: set %d aside.", n, s.Name, s.Set.MaxCount, n-s.Set.MaxCount)
	case s.Set.WarnCount > 0 && n > s.Set.WarnCount:
		say("There are %d pictures; above %d a listing service may refuse some (sheet %s).", n, s.Set.WarnCount, s.Name)
	}
	for i, it := range items {
		if n := utf8.RuneCountInString(it.Caption); s.Text.CaptionMax > 0 && n > s.Text.CaptionMax {
			say("The caption of picture %d has %d characters and sheet %s takes %d: shorten it.", it.Order, n, s.Name, s.Text.CaptionMax)
		}
		if n := utf8.RuneCountInString(it.label()); s.Text.TitleMax > 0 && n > s.Text.TitleMax {
			say("The name of picture %d has %d characters and sheet %s takes %d: shorten it.", it.Order, n, s.Name, s.Text.TitleMax)
		}
		if i == 0 && it.Altered != "" {
			say("Something was taken out of the first picture; listing services ask for it unaltered. Put another picture first.")
		}
	}
	return out
}
