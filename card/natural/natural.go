// Package natural orders names the way people do: IMG_9 before IMG_10.
package natural

import "strings"

// Compare returns a negative number when a comes before b, a positive one when it
// comes after, and 0 only for equal strings. Runs of digits compare as numbers,
// letters without regard to case; a path's folders compare before its name.
func Compare(a, b string) int {
	x, y := a, b
	for x != "" && y != "" {
		if digit(x[0]) && digit(y[0]) {
			var m, n string
			m, x = number(x)
			n, y = number(y)
			if len(m) != len(n) {
				return len(m) - len(n)
			}
			if c := strings.Compare(m, n); c != 0 {
				return c
			}
			continue
		}
		if p, q := rank(x[0]), rank(y[0]); p != q {
			return p - q
		}
		x, y = x[1:], y[1:]
	}
	if x != "" || y != "" {
		return len(x) - len(y)
	}
	return strings.Compare(a, b)
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// rank puts the end of a folder's name before everything else.
func rank(c byte) int {
	switch {
	case c == '/' || c == '\\':
		return 0
	case c >= 'a' && c <= 'z':
		return int(c-'a'+'A') + 1
	}
	return int(c) + 1
}

// number splits a leading run of digits off, without its leading zeros.
func number(s string) (digits, rest string) {
	n := 0
	for n < len(s) && digit(s[n]) {
		n++
	}
	return strings.TrimLeft(s[:n], "0"), s[n:]
}
