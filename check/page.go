package check

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"mullion/finding"
)

//go:embed page.html
var pageText string

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"verdict": func(v View) string { return verdictWord(v.Verdict()) },
	"photo":   photo,
	"marks":   marks,
	"order":   gravest,
	"milder":  milder,
	"shots":   func(v View) string { return plainFrames(v) },
	"said":    func(s finding.Severity) string { return verdictWord(s) },
	"code":    func(s string) string { return strings.ReplaceAll(s, "-", " ") },
}).Parse(pageText))

// Page writes the report as one self-contained HTML page. The report must come from a
// run with Pictures.
func (r *Report) Page(w io.Writer) error {
	keep, look := 0, 0
	for _, v := range r.Views {
		switch v.Verdict() {
		case finding.Note:
			keep++
		case finding.Look:
			look++
		}
	}
	return page.Execute(w, struct {
		*Report
		Keep, Look int
		Lines      []string
	}{r, keep, look, r.List()})
}

func verdictWord(s finding.Severity) string {
	switch s {
	case finding.Reshoot:
		return "shoot again"
	case finding.Look:
		return "look"
	}
	return "keep"
}

// gravest orders findings for reading.
func gravest(list []finding.Finding) []finding.Finding {
	var out []finding.Finding
	for _, s := range []finding.Severity{finding.Reshoot, finding.Look, finding.Note} {
		for _, f := range list {
			if f.Severity == s {
				out = append(out, f)
			}
		}
	}
	return out
}

// milder are the findings that the reshoot list at the head of the page leaves out.
func milder(list []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(gravest(list), func(f finding.Finding) bool { return f.Severity == finding.Reshoot })
}

func photo(v View) template.URL {
	if v.picture == nil {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(v.picture.jpeg))
}

// marks draws the faults as SVG over the picture, in its pixels.
func marks(v View) template.HTML {
	p := v.picture
	if p == nil {
		return ""
	}
	w, h := float64(p.w), float64(p.h)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %d %d" aria-hidden="true">`, p.w, p.h)
	for _, l := range p.plumb {
		fmt.Fprintf(&b, `<path class="plumb" d="M%.1f %.1fL%.1f %.1f"/>`, l[0]*w, l[1]*h, l[2]*w, l[3]*h)
	}
	if len(p.clip) > 0 {
		var d strings.Builder
		for _, r := range p.clip {
			fmt.Fprintf(&d, "M%.1f %.1fL%.1f %.1f", r.X0*w, r.Y0*h, r.X1*w, r.Y1*h)
		}
		fmt.Fprintf(&b, `<path class="halo" d="%s"/><path class="clip" d="%s"/>`, d.String(), d.String())
	}
	for _, m := range p.moving {
		fmt.Fprintf(&b, `<rect class="moving" x="%.1f" y="%.1f" width="%.1f" height="%.1f" rx="3"/>`, m.X0*w-3, m.Y0*h-3, (m.X1-m.X0)*w+6, (m.Y1-m.Y0)*h+6)
	}
	for _, s := range p.spots {
		fmt.Fprintf(&b, `<circle class="dust" cx="%.1f" cy="%.1f" r="9"/>`, (s.X0+s.X1)/2*w, (s.Y0+s.Y1)/2*h)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

// plainFrames says what the view was taken with.
func plainFrames(v View) string {
	if len(v.Frames) == 0 {
		return ""
	}
	a, z := v.Frames[0], v.Frames[len(v.Frames)-1]
	s := count(len(v.Frames), "frame")
	if a.Seconds > 0 && len(v.Frames) > 1 {
		s += ", " + speed(a.Seconds) + " to " + speed(z.Seconds)
	} else if a.Seconds > 0 {
		s += ", " + speed(a.Seconds)
	}
	if a.FNumber > 0 {
		s += fmt.Sprintf(", f/%.2g", a.FNumber)
	}
	if a.ISO > 0 {
		s += fmt.Sprintf(", ISO %.0f", a.ISO)
	}
	return s
}
