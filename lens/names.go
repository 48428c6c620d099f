package lens

import (
	"strings"
	"unicode"
)

// sameLens reports whether two names mean the same lens, as far as names can
// tell: every number of the shorter list of numbers (focal lengths, f-numbers,
// marks) occurs in the other. The database's own matching accepts
// much looser pairs, and a wrong profile is worse than none.
func sameLens(asked, known string) bool {
	a, b := numbers(asked), numbers(known)
	if len(a) == 0 || len(b) == 0 {
		return strings.EqualFold(strings.TrimSpace(asked), strings.TrimSpace(known))
	}
	if len(a) > len(b) {
		a, b = b, a
	}
	for n := range a {
		if !b[n] {
			return false
		}
	}
	return true
}

// numbers returns the set of decimal numbers in s, without trailing zeros.
func numbers(s string) map[string]bool {
	set := map[string]bool{}
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' }) {
		f = strings.Trim(f, ".")
		if strings.Contains(f, ".") {
			f = strings.TrimRight(strings.TrimRight(f, "0"), ".")
		}
		if f != "" {
			set[f] = true
		}
	}
	return set
}
