package deliver

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"mullion/imprint"
	"mullion/jpegfile"
	"mullion/who"
)

// Delivery is a set of delivered pictures, as its pages show it.
type Delivery struct {
	Title    string    // heading; "Photographs" when empty
	Subtitle string    // one line below it
	Date     time.Time // of the shoot; left out when zero
	Items    []Item    // in the order of the gallery
	Who      who.Who
	Branded  bool // name the photographer on the pages; listing services forbid it
	Letter   bool // contact sheet on US Letter paper instead of A4
	Software string
}

// Item is one picture of a delivery.
type Item struct {
	Order   int
	Room    string
	Width   int // of the finished picture before any sheet's rules, pixels; 0 when unknown
	Height  int
	Caption string
	Alt     string // alternative text; [AltText] when empty
	Files   []File // the first is shown, all are offered; their paths lie in the delivery's folder
	Merged  int    // exposures that went into it
	Altered string // what was taken out, as it must be disclosed; empty for nothing
	// Unaltered is the path of the same picture without removals, in the delivery's
	// folder; empty for none.
	Unaltered string
	Source    imprint.Source
}

// AltText returns a plain sentence for a picture nobody described: it says what
// is known, the room, and nothing else.
func AltText(room string, order int) string {
	if room = strings.TrimSpace(room); room != "" {
		return "Photograph of the property: " + room + "."
	}
	return fmt.Sprintf("Photograph %d of the property.", order)
}

// label is what a picture is called on the pages.
func (it Item) label() string {
	if room := strings.TrimSpace(it.Room); room != "" {
		return room
	}
	return fmt.Sprintf("Photograph %d", it.Order)
}

func (it Item) alt() string {
	if it.Alt != "" {
		return it.Alt
	}
	return AltText(it.Room, it.Order)
}

// pagesDir holds the small pictures of the pages, inside the delivery.
const pagesDir = "pages"

// smallWidths are the long edges of the reduced pictures: a phone's column, and
// a column of a big screen.
var smallWidths = [2]int{640, 1280}

// Pages writes the gallery page index.html, its reduced pictures in pages/, and
// contact-sheet.pdf into the folder dir, which holds the delivered files. The
// page needs nothing from outside that folder.
func Pages(ctx context.Context, dir string, d Delivery) error {
	if len(d.Items) == 0 {
		return errors.New("deliver: there are no pictures to make pages of")
	}
	if d.Title == "" {
		d.Title = "Photographs"
	}
	if err := os.MkdirAll(filepath.Join(dir, pagesDir), 0o755); err != nil {
		return err
	}
	shown := make([]shown, len(d.Items))
	for i, it := range d.Items {
		s, err := reduceForPages(ctx, dir, it)
		if err != nil {
			return err
		}
		shown[i] = s
	}
	if err := sweep(dir, shown); err != nil {
		return err
	}
	pdf, err := contactSheet(ctx, d, shown)
	if err != nil {
		return err
	}
	if err := writeFile(filepath.Join(dir, contactSheetName), pdf); err != nil {
		return err
	}
	page, err := gallery(d, shown)
	if err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, "index.html"), page)
}

// shown is a picture with its reduced versions.
type shown struct {
	Item
	href  string   // of the file, relative to the folder
	files []string // of all files, the same
	twin  string   // of the unaltered twin, the same; empty for none
	small []small
}

type small struct {
	href string
	w, h int
	data []byte
}

// smallRules keep the reduced pictures light.
var smallRules = FileRules{Quality: [2]int{50, 84}, Good: 70, AimBytes: 320_000, MaxBytes: 600_000}

func reduceForPages(ctx context.Context, dir string, it Item) (shown, error) {
	s := shown{Item: it}
	s.Files = append([]File(nil), it.Files...) // the caller's stay as they are
	if len(it.Files) == 0 {
		return s, fmt.Errorf("deliver: picture %d has no file", it.Order)
	}
	for _, f := range it.Files {
		rel, err := inside(dir, f.Path)
		if err != nil {
			return s, err
		}
		s.files = append(s.files, rel)
	}
	if it.Unaltered != "" {
		rel, err := inside(dir, it.Unaltered)
		if err != nil {
			return s, err
		}
		s.twin = rel
	}
	s.href = s.files[0]
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(s.href)))
	if err != nil {
		return s, err
	}
	img, err := jpegfile.Decode(data, 2*smallWidths[1])
	if err != nil {
		return s, fmt.Errorf("%s: %w", s.href, err)
	}
	s.Files[0].Width, s.Files[0].Height, err = sizeOf(data)
	if err != nil {
		return s, fmt.Errorf("%s: %w", s.href, err)
	}
	stem := strings.TrimSuffix(path.Base(s.href), path.Ext(s.href))
	for _, long := range smallWidths {
		if long >= max(img.W, img.H) && len(s.small) > 0 {
			break
		}
		f := Pixels{LongEdge: long}.fit(img.W, img.H)
		little, err := reduceCoded(ctx, img, f.outW, f.outH, sharpenAmount(f.factor())/2)
		if err != nil {
			return s, err
		}
		c, ok, err := search(ctx, little, smallRules, 0)
		if err != nil || !ok {
			return s, errors.Join(err, fmt.Errorf("%s: no small version fits %d bytes", s.href, smallRules.MaxBytes))
		}
		out, err := jpegfile.Splice(c.data, []jpegfile.Segment{imprint.ProfileSegment()})
		if err != nil {
			return s, err
		}
		name := path.Join(pagesDir, fmt.Sprintf("%s-%d.jpg", stem, long))
		if err := writeFile(filepath.Join(dir, filepath.FromSlash(name)), out); err != nil {
			return s, err
		}
		s.small = append(s.small, small{name, little.W, little.H, out})
	}
	return s, nil
}

// sizeOf reads a JPEG file's size from its frame header.
func sizeOf(data []byte) (w, h int, err error) {
	segs, _, err := jpegfile.Split(data)
	if err != nil {
		return 0, 0, err
	}
	for _, s := range segs {
		if (s.Marker == jpegfile.SOF0 || s.Marker == jpegfile.SOF2) && len(s.Payload) > 5 {
			return int(s.Payload[3])<<8 | int(s.Payload[4]), int(s.Payload[1])<<8 | int(s.Payload[2]), nil
		}
	}
	return 0, 0, errors.New("no frame header")
}

// inside returns a file's slashed path relative to dir; one outside is an error,
// for the page must travel with its pictures.
func inside(dir, file string) (string, error) {
	if !filepath.IsAbs(file) && filepath.IsLocal(file) {
		if _, err := os.Stat(filepath.Join(dir, file)); err == nil {
			return filepath.ToSlash(file), nil
		}
	}
	a, err1 := filepath.Abs(dir)
	b, err2 := filepath.Abs(file)
	rel, err3 := filepath.Rel(a, b)
	if err := errors.Join(err1, err2, err3); err != nil {
		return "", err
	}
	if !filepath.IsLocal(rel) {
		return "", fmt.Errorf("%s lies outside the delivery folder %s", file, dir)
	}
	return filepath.ToSlash(rel), nil
}
