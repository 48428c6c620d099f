package deliver

import (
	"bytes"
	"context"
	"fmt"
	"path"
	"strings"

	"github.com/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

const contactSheetName = "contact-sheet.pdf"

// The sheet's grid, in millimetres. Letter is shorter: it takes a row less.
const (
	sheetMargin  = 14.
	sheetColumns = 3
	sheetGap     = 5.
	headHeight   = 16.
	captionRoom  = 11.
)

// contactSheet returns a PDF with every picture small, its number, room and file
// name. Its fonts are the Go fonts (BSD licence), which hold Latin, Greek and
// Cyrillic; letters they lack are shown as a box, and the file name is beside it.
func contactSheet(ctx context.Context, d Delivery, pics []shown) ([]byte, error) {
	paper := "A4"
	if d.Letter {
		paper = "Letter"
	}
	pdf := fpdf.New("P", "mm", paper, "")
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(d.Date)
	pdf.SetModificationDate(d.Date)
	pdf.SetLang("en")
	pdf.AddUTF8FontFromBytes("go", "", goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", "B", gomedium.TTF)
	pdf.SetTitle(drawable(d.Title)+", contact sheet", true)
	if d.Branded && d.Who.Creator != "" {
		pdf.SetAuthor(d.Who.Creator, true)
	}
	if d.Software != "" {
		pdf.SetCreator(d.Software, true)
	}
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(sheetMargin, sheetMargin, sheetMargin)

	pageW, pageH := pdf.GetPageSize()
	cellW := (pageW - 2*sheetMargin - (sheetColumns-1)*sheetGap) / sheetColumns
	imageH := cellW * 2 / 3
	cellH := imageH + captionRoom
	rows := int((pageH - 2*sheetMargin - headHeight + sheetGap) / (cellH + sheetGap/2))
	perPage := rows * sheetColumns
	pages := (len(pics) + perPage - 1) / perPage
	for i, s := range pics {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if i%perPage == 0 {
			pdf.AddPage()
			sheetHead(pdf, d, i/perPage+1, pages, len(pics))
		}
		k := i % perPage
		x := sheetMargin + float64(k%sheetColumns)*(cellW+sheetGap)
		y := sheetMargin + headHeight + float64(k/sheetColumns)*(cellH+sheetGap/2)
		sheetCell(pdf, s, x, y, cellW, imageH)
	}
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("contact sheet: %w", err)
	}
	return b.Bytes(), nil
}

func sheetHead(pdf *fpdf.Fpdf, d Delivery, page, pages, n int) {
	w, _ := pdf.GetPageSize()
	facts := count(n)
	if !d.Date.IsZero() {
		facts += ", " + d.Date.Format("2 January 2006")
	}
	if d.Branded && d.Who.Creator != "" {
		facts += ", " + drawable(d.Who.Creator)
	}
	if pages > 1 {
		facts += fmt.Sprintf(", page %d of %d", page, pages)
	}
	pdf.SetFont("go", "", 9)
	factsW := pdf.GetStringWidth(facts)
	pdf.SetTextColor(90, 90, 90)
	pdf.Text(w-sheetMargin-factsW, sheetMargin+5, facts)
	pdf.SetTextColor(20, 20, 20)
	pdf.SetFont("go", "B", 15)
	pdf.Text(sheetMargin, sheetMargin+5, fitText(pdf, drawable(d.Title), w-2*sheetMargin-factsW-8))
	pdf.SetDrawColor(190, 190, 190)
	pdf.SetLineWidth(0.2)
	pdf.Line(sheetMargin, sheetMargin+9.5, w-sheetMargin, sheetMargin+9.5)
}

// sheetCell places a picture at the bottom of its cell, so that the captions of
// a row line up, portrait pictures between landscape ones too.
func sheetCell(pdf *fpdf.Fpdf, s shown, x, y, w, h float64) {
	pic := s.small[0]
	pw, ph := w, w*float64(pic.h)/float64(pic.w)
	if ph > h {
		pw, ph = h*float64(pic.w)/float64(pic.h), h
	}
	opt := fpdf.ImageOptions{ImageType: "JPG"}
	pdf.RegisterImageOptionsReader(pic.href, opt, bytes.NewReader(pic.data))
	pdf.ImageOptions(pic.href, x, y+h-ph, pw, ph, false, opt, 0, "")

	no := fmt.Sprintf("%02d", s.Order)
	pdf.SetFont("go", "", 8.5)
	pdf.SetTextColor(90, 90, 90)
	pdf.Text(x, y+h+4.4, no)
	indent := pdf.GetStringWidth(no) + 1.8
	pdf.SetFont("go", "B", 8.5)
	pdf.SetTextColor(20, 20, 20)
	pdf.Text(x+indent, y+h+4.4, fitText(pdf, drawable(line(s.label())), w-indent))
	pdf.SetFont("go", "", 7)
	pdf.SetTextColor(90, 90, 90)
	pdf.Text(x, y+h+8, fitText(pdf, drawable(path.Base(s.href)), w))
}

// fitText cuts a text to a width in the font that is set.
func fitText(pdf *fpdf.Fpdf, s string, w float64) string {
	if pdf.GetStringWidth(s) <= w {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && pdf.GetStringWidth(string(r)+"…") > w {
		r = r[:len(r)-1]
	}
	return strings.TrimSpace(string(r)) + "…"
}

var sheetFont, _ = sfnt.Parse(goregular.TTF) // a font of the module's own, always sound

// drawable replaces what the font has no glyph for by a box.
func drawable(s string) string {
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7F {
			return -1
		}
		if g, err := sheetFont.GlyphIndex(&buf, r); err != nil || g == 0 || r > 0xFFFF {
			return '□'
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}
