package record

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"
)

// Names of the record's files in a delivery.
const (
	FileName = "edit-record.json"
	PageName = "edit-record.html"
	SigName  = "edit-record.sig"
)

// Caution is said wherever the record is shown.
const Caution = "Rules on altered photographs differ from place to place. This record states what was done; whether a picture may be published, and what must be said beside it, is for local law and the listing service to decide."

// Record is what a delivery says about its pictures.
type Record struct {
	Format    string    `json:"format"` // "mullion-edit-record"
	Version   int       `json:"version"`
	Program   string    `json:"program"`
	Made      time.Time `json:"made"`
	Delivery  string    `json:"delivery"` // the delivery sheet's name
	Caution   string    `json:"caution"`
	PublicKey string    `json:"public_key"` // Ed25519, base64
	Pictures  []Picture `json:"pictures"`   // in the order of the gallery
	Files     []File    `json:"files"`      // every file of the delivery but this one, its signature and the archive
	Originals []File    `json:"originals"`  // the camera files the pictures were made from
}

// Picture is one picture of the delivery.
type Picture struct {
	File       string `json:"file"`
	Unaltered  string `json:"unaltered,omitempty"` // its twin, the same without the removals
	View       string `json:"view"`
	Room       string `json:"room,omitempty"`
	Frames     int    `json:"frames"` // exposures merged
	SourceType string `json:"digital_source_type"`
	Caption    string `json:"caption,omitempty"`     // what must be said beside it
	Edits      []Edit `json:"edits"`                 // none: light, colour and geometry only
	Dust       int    `json:"sensor_dust,omitempty"` // grains on the sensor whose shadows were divided out
}

// Edit is one thing done to a picture.
type Edit struct {
	Action  Action    `json:"action"`
	Kind    string    `json:"kind"`
	What    string    `json:"what"`
	Where   Area      `json:"where"`
	At      time.Time `json:"at"`
	Version string    `json:"version"` // of the program that was told to do it
}

// Area is the rectangle around an edit in per cent of the picture's width and height,
// from its left and top. It is all 0 when the edit lies outside the picture's crop.
type Area struct {
	X float64 `json:"x_percent"`
	Y float64 `json:"y_percent"`
	W float64 `json:"w_percent"`
	H float64 `json:"h_percent"`
}

// File is a file and its contents' hash.
type File struct {
	Path   string `json:"path"` // with forward slashes: below the delivery, originals below the shoot
	SHA256 string `json:"sha256"`
}

// Altered reports whether anything was taken out of the picture.
func (p Picture) Altered() bool { return has(p.Edits, Remove) }

// Dusty is how many pictures the shadow of dust on the sensor was taken out of.
func (r Record) Dusty() int {
	n := 0
	for _, p := range r.Pictures {
		if p.Dust > 0 {
			n++
		}
	}
	return n
}

func has(edits []Edit, a Action) bool {
	for _, e := range edits {
		if e.Action == a {
			return true
		}
	}
	return false
}

// TwinName is the name of a picture's unaltered twin: 03-bedroom.jpg has
// 03-bedroom-unaltered.jpg.
func TwinName(file string) string {
	if i := strings.LastIndexByte(file, '.'); i > strings.LastIndexAny(file, `/\`) {
		return file[:i] + "-unaltered" + file[i:]
	}
	return file + "-unaltered"
}

// Caption is the sentence that discloses edits beside a picture, empty for none.
// twin is the unaltered twin's file name.
func Caption(edits []Edit, twin string) string {
	var parts []string
	if out := list(edits, Remove); out != "" {
		s := "Altered photograph: " + out + " taken out."
		if twin != "" {
			s += " The unaltered photograph is " + twin + "."
		}
		parts = append(parts, s)
	}
	if soft := list(edits, Soften); soft != "" {
		parts = append(parts, "For privacy, "+soft+" blurred.")
	}
	return strings.Join(parts, " ")
}

// list is the things of an action as a subject with its verb.
func list(edits []Edit, a Action) string {
	var things []string
	seen := map[string]bool{}
	for _, e := range edits {
		if e.Action == a && !seen[e.What] {
			seen[e.What] = true
			things = append(things, e.What)
		}
	}
	switch len(things) {
	case 0:
		return ""
	case 1:
		return things[0] + " was"
	}
	last := len(things) - 1
	return strings.Join(things[:last], ", ") + " and " + things[last] + " were"
}

// bytes is the record as it is written and signed.
func (r Record) bytes() ([]byte, error) {
	b, err := json.MarshalIndent(r, "", "  ")
	return append(b, '\n'), err
}

func parse(b []byte) (Record, error) {
	var r Record
	if err := json.Unmarshal(b, &r); err != nil {
		return r, err
	}
	if r.Format != format || r.Version > version {
		return r, fmt.Errorf("format %q version %d is not known to this program (it knows %q up to %d)", r.Format, r.Version, format, version)
	}
	return r, nil
}

const (
	format  = "mullion-edit-record"
	version = 1
)
