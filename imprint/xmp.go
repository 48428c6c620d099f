package imprint

import (
	"encoding/xml"
	"strings"
)

// The namespaces as their standards register them.
var namespaces = [][2]string{
	{"dc", "http://purl.org/dc/elements/1.1/"},
	{"xmp", "http://ns.adobe.com/xap/1.0/"},
	{"xmpRights", "http://ns.adobe.com/xap/1.0/rights/"},
	{"photoshop", "http://ns.adobe.com/photoshop/1.0/"},
	{"Iptc4xmpCore", "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/"},
	{"Iptc4xmpExt", "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"},
	{"plus", "http://ns.useplus.org/ldf/xmp/1.0/"},
}

// packet writes RDF/XML, one property after the other.
type packet struct{ strings.Builder }

func (p *packet) escaped(s string) { xml.EscapeText(p, []byte(s)) } // a Builder never fails

func (p *packet) property(name, value string) {
	if value == "" {
		return
	}
	p.WriteString("<" + name + ">")
	p.escaped(value)
	p.WriteString("</" + name + ">\n")
}

// array writes an RDF container; kind is Bag, Seq or Alt. An Alt holds the one
// text, in no particular language.
func (p *packet) array(name, kind string, items ...string) {
	if len(items) == 0 || items[0] == "" {
		return
	}
	p.WriteString("<" + name + "><rdf:" + kind + ">")
	for _, it := range items {
		if kind == "Alt" {
			p.WriteString(`<rdf:li xml:lang="x-default">`)
		} else {
			p.WriteString("<rdf:li>")
		}
		p.escaped(it)
		p.WriteString("</rdf:li>")
	}
	p.WriteString("</rdf:" + kind + "></" + name + ">\n")
}

// structure writes the fields that are there between open and shut, and nothing
// when none is.
func (p *packet) structure(open, shut string, fields ...[2]string) {
	var inner packet
	for _, f := range fields {
		inner.property(f[0], f[1])
	}
	if inner.Len() > 0 {
		p.WriteString(open + "\n" + inner.String() + shut + "\n")
	}
}

// xmp returns an XMP packet (ISO 16684-1) of a cleaned About.
func xmp(a About) []byte {
	var p packet
	p.WriteString("<?xpacket begin=\"\uFEFF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n")
	p.WriteString(`<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` + "\n")
	p.WriteString(`<rdf:Description rdf:about=""`)
	for _, ns := range namespaces {
		p.WriteString("\n xmlns:" + ns[0] + `="` + ns[1] + `"`)
	}
	p.WriteString(">\n")

	p.property("dc:format", "image/jpeg")
	p.array("dc:title", "Alt", a.Title)
	p.property("photoshop:Headline", a.Headline)
	p.array("dc:description", "Alt", a.Description)
	p.array("Iptc4xmpCore:AltTextAccessibility", "Alt", a.AltText)
	p.array("dc:subject", "Bag", a.Keywords...)
	p.property("photoshop:Instructions", a.Instructions)
	p.property("Iptc4xmpExt:DigitalSourceType", a.SourceType().URI())
	if !a.Taken.IsZero() {
		p.property("photoshop:DateCreated", isoTime(a))
	}
	p.property("xmp:CreatorTool", a.Software)
	p.property("photoshop:City", a.City)
	p.property("photoshop:State", a.State)
	p.property("photoshop:Country", a.Country)
	p.rights(a)

	p.WriteString("</rdf:Description></rdf:RDF></x:xmpmeta>\n<?xpacket end=\"w\"?>")
	return []byte(p.String())
}

func (p *packet) rights(a About) {
	w := a.Who
	p.array("dc:creator", "Seq", w.Creator)
	p.property("photoshop:Credit", w.Credit)
	p.array("dc:rights", "Alt", w.Notice(a.Taken))
	if w.Copyright != "" {
		p.property("xmpRights:Marked", "True")
	}
	p.array("xmpRights:UsageTerms", "Alt", w.Usage)
	p.property("xmpRights:WebStatement", w.RightsPage)
	p.structure(`<Iptc4xmpCore:CreatorContactInfo rdf:parseType="Resource">`, "</Iptc4xmpCore:CreatorContactInfo>",
		[2]string{"Iptc4xmpCore:CiEmailWork", w.Email},
		[2]string{"Iptc4xmpCore:CiTelWork", w.Phone},
		[2]string{"Iptc4xmpCore:CiUrlWork", w.Website})
	licensor := w.Studio
	if licensor == "" && (w.RightsPage != "" || w.Website != "" || w.Email != "") {
		licensor = w.Creator
	}
	if licensor != "" {
		p.structure(`<plus:Licensor><rdf:Seq><rdf:li rdf:parseType="Resource">`, "</rdf:li></rdf:Seq></plus:Licensor>",
			[2]string{"plus:LicensorName", licensor},
			[2]string{"plus:LicensorEmail", w.Email},
			[2]string{"plus:LicensorURL", w.Website})
	}
}

// isoTime is the capture time as precisely as the camera told it.
func isoTime(a About) string {
	f := "2006-01-02T15:04:05"
	if a.HasSubsec {
		f += ".000"
	}
	if a.HasZone {
		f += "-07:00"
	}
	return a.Taken.Format(f)
}
