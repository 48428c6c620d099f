package deliver

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the page's parts
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"sort"
	"strings"
	"time"

	"mullion/imprint"
)

//go:embed page/gallery.html
var galleryHTML string

//go:embed page/gallery.css
var galleryCSS string

//go:embed page/gallery.js
var galleryJS string

var galleryTemplate = template.Must(template.New("gallery").Parse(galleryHTML))

// galleryPage is what the template shows.
type galleryPage struct {
	Title, Subtitle, By, CSP, Count string
	Date                            *time.Time
	Rooms                           []galleryRoom
	Pictures                        []galleryPicture
	AnyMerged                       bool
	Notice, Usage, RightsPage       string
	ContactSheet, Archive           string
	Record, Licence                 string
	CSS                             template.CSS
	JS                              template.JS
	LinkedData                      map[string]any
}

type galleryRoom struct {
	Order int
	Name  string
}

type galleryPicture struct {
	Order, W, H, Merged     int
	Class, Label, Sizes     string
	Href, Src, Alt, Caption string
	Altered, Unaltered      string
	Srcset, Webp            template.Srcset
	Late                    bool
	Downloads               []galleryDownload
}

type galleryDownload struct{ Href, Text, Of string }

// gallery returns the page. Its policy lets it load pictures from its own folder
// and nothing else; the one style sheet and the one script are named by hash.
func gallery(d Delivery, pics []shown, sheetName string) ([]byte, error) {
	css, js := galleryCSS+ratioRules(pics), galleryJS
	p := galleryPage{
		Title: line(d.Title), Subtitle: line(d.Subtitle), Count: count(len(pics)),
		CSP: "default-src 'none'; img-src 'self' file:; style-src " + hashOf(css) + "; script-src " + hashOf(js) +
			"; base-uri 'none'; form-action 'none'",
		CSS: template.CSS(css), JS: template.JS(js), ContactSheet: sheetName,
		Archive: escapePath(d.Archive), Record: escapePath(d.Record),
		LinkedData: linkedData(d, pics),
	}
	if !d.Date.IsZero() {
		p.Date = &d.Date
	}
	if d.Branded {
		p.Licence = escapePath(d.Licence)
		p.By, p.Notice, p.Usage, p.RightsPage = line(d.Who.Creator), sentence(d.Who.Notice(d.Date)), sentence(d.Who.Usage), d.Who.RightsPage
	}
	listed := map[string]bool{}
	for i, s := range pics {
		g := s.picture(i)
		p.Pictures = append(p.Pictures, g)
		p.AnyMerged = p.AnyMerged || g.Merged > 0
		if s.Room != "" && !listed[g.Label] {
			p.Rooms = append(p.Rooms, galleryRoom{g.Order, g.Label})
			listed[g.Label] = true
		}
	}
	if len(p.Rooms) < 2 {
		p.Rooms = nil
	}
	var b bytes.Buffer
	err := galleryTemplate.Execute(&b, p)
	return b.Bytes(), err
}

func (s shown) picture(i int) galleryPicture {
	w, h := s.Files[0].Width, s.Files[0].Height
	g := galleryPicture{
		Order: s.Order, W: w, H: h, Label: line(s.label()), Alt: line(s.alt()),
		Caption: strings.TrimSpace(s.Caption), Altered: strings.TrimSpace(s.Altered),
		Unaltered: escapePath(s.twin),
		Href:      escapePath(s.href), Src: escapePath(s.small[0].href), Late: i > 2,
		Class: ratioClass(w, h), Sizes: fmt.Sprintf("(max-width: 640px) 100vw, %.0fpx", 400*float64(w)/float64(h)),
	}
	if s.Merged > 1 {
		g.Merged = s.Merged
	}
	if i == 0 {
		g.Class, g.Sizes = "lead", "(max-width: 1520px) 92vw, 1400px"
		if h > w {
			g.Class, g.Sizes = "lead tall", "92vw"
		}
	}
	var set, webp []string
	for _, v := range s.small {
		set = append(set, fmt.Sprintf("%s %dw", escapePath(v.href), v.w))
		if v.webp != "" {
			webp = append(webp, fmt.Sprintf("%s %dw", escapePath(v.webp), v.w))
		}
	}
	if s.small[len(s.small)-1].w < w {
		set = append(set, fmt.Sprintf("%s %dw", escapePath(s.href), w))
	}
	if s.wide.webp != "" {
		webp = append(webp, fmt.Sprintf("%s %dw", escapePath(s.wide.webp), s.wide.w))
	}
	g.Srcset, g.Webp = template.Srcset(strings.Join(set, ", ")), template.Srcset(strings.Join(webp, ", "))
	for k, f := range s.Files {
		text := megabytes(f.Bytes)
		if f.Sheet != "" && len(s.Files) > 1 {
			text = f.Sheet + ", " + text
		}
		g.Downloads = append(g.Downloads, galleryDownload{escapePath(s.files[k]), text, g.Label})
	}
	return g
}

func escapePath(p string) string { return (&url.URL{Path: p}).EscapedPath() }

func hashOf(s string) string {
	sum := sha256.Sum256([]byte(s))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func count(n int) string {
	if n == 1 {
		return "1 photograph"
	}
	return fmt.Sprintf("%d photographs", n)
}

func megabytes(n int) string {
	if n < 1e6 {
		return fmt.Sprintf("%d kB", (n+999)/1000)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

func line(s string) string { return strings.Join(strings.Fields(s), " ") }

// A row of the page shares its width among its pictures by their ratios, so that
// all in a row are of one height. The ratios are classes, because the page's
// policy allows no style in an attribute.
func ratioClass(w, h int) string { return fmt.Sprintf("r%d", ratio100(w, h)) }

func ratio100(w, h int) int {
	return max(20, min(400, int(math.Round(100*float64(w)/float64(max(1, h))))))
}

func ratioRules(pics []shown) string {
	seen := map[int]bool{}
	for _, s := range pics {
		seen[ratio100(s.Files[0].Width, s.Files[0].Height)] = true
	}
	var all []int
	for r := range seen {
		all = append(all, r)
	}
	sort.Ints(all)
	var b strings.Builder
	for _, r := range all {
		// clamp: two landscape pictures a row, as large as the walk beside them leaves room.
		fmt.Fprintf(&b, ".r%d { flex: %d 1 calc(%.2f * clamp(190px, 19.5vw, 330px)); }\n", r, r, float64(r)/100)
	}
	return b.String()
}

// linkedData describes the pictures in schema.org's terms.
func linkedData(d Delivery, pics []shown) map[string]any {
	var images []map[string]any
	for _, s := range pics {
		src := s.Source
		if src == "" {
			src = imprint.About{Merged: s.Merged}.SourceType()
		}
		images = append(images, map[string]any{
			"@type": "ImageObject", "contentUrl": escapePath(s.href), "name": s.label(), "description": s.alt(),
			"width": s.Files[0].Width, "height": s.Files[0].Height, "digitalSourceType": src.URI(),
		})
	}
	return map[string]any{"@context": "https://schema.org", "@type": "ImageGallery", "name": d.Title, "image": images}
}

// sentence is a line that ends as a sentence does.
func sentence(s string) string {
	if s = line(s); s == "" || strings.ContainsRune(".!?", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}
