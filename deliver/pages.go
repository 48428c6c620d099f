package deliver

import (
	"context"
	"errors"
	"fmt"
	"os"
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
	Branded  bool // pages that name the photographer too, beside those that don't
	Letter   bool // contact sheet on US Letter paper instead of A4
	Software string

	Record  string // name of the edit record's page in the folder; empty for none
	Licence string // of the licence text
	Archive string // of the archive with everything
	Small   bool   // reduced pictures in WebP beside the JPEG ones, a third smaller
}

// Item is one picture of a delivery.
type Item struct {
	Order   int
	Room    string
	Width   int // of the finished picture before any sheet's rules, pixels; 0 when unknown
	Height  int
	Caption string
	Alt     string // alternative text; [Describe] when empty
	Files   []File // the first is shown, all are offered; their paths lie in the delivery's folder
	Merged  int    // exposures that went into it
	Altered string // what was taken out, as it must be disclosed; empty for nothing
	// Unaltered is the path of the same picture without removals, in the delivery's
	// folder; empty for none.
	Unaltered string
	Source    imprint.Source
}

// Describe returns plain sentences for a picture nobody described, as its caption and
// as the text for those who don't see it: they say what is known, the room and which
// of its pictures it is, and nothing else. The caption is empty without a room.
func Describe(room string, order, nth, of int) (caption, alt string) {
	if room = line(room); room == "" {
		return "", fmt.Sprintf("Photograph %d of the property.", order)
	}
	if of > 1 {
		room = fmt.Sprintf("%s (%d of %d)", room, nth, of)
	}
	return room + ".", "Photograph of the property: " + room + "."
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
	_, alt := Describe(it.Room, it.Order, 1, 1)
	return alt
}

// pagesDir holds the small pictures of the pages, inside the delivery.
const pagesDir = "pages"

// Pages writes the gallery page index.html, its reduced pictures in pages/, and
// contact-sheet.pdf into the folder dir, which holds the delivered files. These name
// nobody, as listing services ask; a branded delivery has branded.html and
// contact-sheet-branded.pdf beside them. The pages need nothing from outside that
// folder.
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
	shown, err := reduceAll(ctx, dir, d)
	if err != nil {
		return err
	}
	named := d.Branded
	d.Branded = false
	if err := writePages(ctx, dir, d, shown, "index.html", contactSheetName); err != nil {
		return err
	}
	if !named {
		return errors.Join(gone(filepath.Join(dir, BrandedName)), gone(filepath.Join(dir, brandedSheetName)))
	}
	d.Branded = true
	return writePages(ctx, dir, d, shown, BrandedName, brandedSheetName)
}

// Names of the pages that name the photographer.
const (
	BrandedName      = "branded.html"
	brandedSheetName = "contact-sheet-branded.pdf"
)

func writePages(ctx context.Context, dir string, d Delivery, pics []shown, pageName, sheetName string) error {
	pdf, err := contactSheet(ctx, d, pics)
	if err != nil {
		return err
	}
	if err := writeFile(filepath.Join(dir, sheetName), pdf); err != nil {
		return err
	}
	page, err := gallery(d, pics, sheetName)
	if err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, pageName), page)
}

func gone(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("an earlier page can't be removed: %w", err)
	}
	return nil
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
