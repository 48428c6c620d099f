// Package imprint writes what a delivered picture says about itself: its colour
// profile, Exif, XMP and IIM records, kept in step with each other.
//
// It can only write what [About] has a field for, and About has none for a
// position, a serial number, an owner, a maker's note, an editing history or a
// thumbnail. So none of these can leak, whatever the camera file held.
//
// Sources: CIPA DC-008 (Exif 2.32), ISO 16684-1 (XMP), IPTC Photo Metadata
// Standard and IIM 4.2, ICC.1:2001-04. Which field of one corresponds to which
// field of another follows the mapping table of the IPTC standard.
package imprint

import (
	"strings"
	"time"
	"unicode/utf8"

	"mullion/who"
)

// Source is how a picture came about: the last part of a term of the IPTC
// vocabulary http://cv.iptc.org/newscodes/digitalsourcetype/.
type Source string

// The terms this program has a use for.
const (
	DigitalCapture       Source = "digitalCapture"       // one exposure
	ComputationalCapture Source = "computationalCapture" // several exposures of the real scene, merged
	HumanEdits           Source = "humanEdits"           // something was taken out by hand, with no generative tool
)

// URI is the term as it stands in files.
func (s Source) URI() string { return "http://cv.iptc.org/newscodes/digitalsourcetype/" + string(s) }

// About is everything a delivered file may say about itself. An empty field
// stays out of the file.
type About struct {
	Title        string // short reference; the file's stem when deliver fills it
	Headline     string
	Description  string // the caption
	AltText      string // for those who don't see the picture; see MaxAltText
	Keywords     []string
	Instructions string // what was altered, for whoever publishes the picture

	Who who.Who

	Taken     time.Time // capture time of the view
	HasZone   bool      // the camera said which zone Taken is in
	HasSubsec bool      // the camera said fractions of a second

	City, State, Country string // never the street

	Frames int    // exposures the view was shot with
	Merged int    // exposures that went into the picture; above 1 for a merge
	Source Source // chosen from Merged when empty

	FNumber, FocalMM, Focal35MM, ISO float64 // 0 when unknown
	Seconds                          float64 // exposure time, written for single exposures only

	Software string // name and version of this program
}

// MaxAltText is how many characters of alternative text are kept: the IPTC
// standard's advice for the field.
const MaxAltText = 250

// SourceType returns the digital source type the file will name.
func (a About) SourceType() Source {
	switch {
	case a.Source != "":
		return a.Source
	case a.Merged > 1:
		return ComputationalCapture
	}
	return DigitalCapture
}

// Limits in characters for fields that have none in XMP, so that every record
// fits the 64 kB of its segment.
const (
	maxLine     = 1000
	maxText     = 4000
	maxKeyword  = 64
	maxKeywords = 50
)

// clean returns the fields as they are written: valid UTF-8, no characters that
// XML forbids, one line where one line is meant, cut to length at a word.
func (a About) clean() About {
	for _, s := range []*string{&a.Title, &a.Headline, &a.Instructions, &a.City, &a.State, &a.Country, &a.Software,
		&a.Who.Creator, &a.Who.Studio, &a.Who.Credit, &a.Who.Copyright, &a.Who.Usage,
		&a.Who.RightsPage, &a.Who.Email, &a.Who.Website, &a.Who.Phone} {
		*s = Shorten(line(*s), maxLine)
	}
	a.Description = Shorten(text(a.Description), maxText)
	a.AltText = Shorten(line(a.AltText), MaxAltText)
	var keep []string
	for _, k := range a.Keywords {
		if k = Shorten(line(k), maxKeyword); k != "" && len(keep) < maxKeywords {
			keep = append(keep, k)
		}
	}
	a.Keywords = keep
	return a
}

// text drops what is not a character of XML 1.0 (section 2.2) and makes line
// ends a single newline.
func text(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s)
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case r < 0x20 || r >= 0x7F && r <= 0x9F || r == 0xFFFE || r == 0xFFFF:
			return -1
		}
		return r
	}, s))
}

// line is text on one line, blanks run together.
func line(s string) string { return strings.Join(strings.Fields(text(s)), " ") }

// Shorten returns s in at most n characters. A longer one is cut, at a blank
// when there is one in the last third, and ends in an ellipsis.
func Shorten(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	r := []rune(s)[:n-1]
	for i := len(r) - 1; i > 2*n/3; i-- {
		if r[i] == ' ' {
			r = r[:i]
			break
		}
	}
	return strings.TrimRight(string(r), " ,;") + "…"
}

// cutBytes returns the longest prefix of s of at most n bytes that ends between
// two characters, as the IIM's byte limits ask.
func cutBytes(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return strings.TrimRight(s[:n], " ")
}
