package imprint

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"mullion/jpegfile"
	"mullion/who"
)

func sample() About {
	return About{
		Title: "01-kueche", Headline: "Küche nach Süden", Description: "Küche mit Blick in den Garten.\nZweite Zeile.",
		AltText: "Eine weiße Küche mit Fenster.", Keywords: []string{"Küche", "Fenster"}, Instructions: "as taken",
		Who: who.Who{Creator: "Zoë Ångström", Studio: "Sample Studio", Credit: "Zoë Å.", Copyright: "© {year} Zoë Ångström",
			Usage: "For this listing only.", RightsPage: "https://example.com/licence", Email: "zoe@example.com",
			Website: "https://example.com", Phone: "+46 70 123 45 67"},
		Taken:   time.Date(2031, 5, 4, 14, 15, 6, 70e6, time.FixedZone("", 2*3600)),
		HasZone: true, HasSubsec: true, City: "Musterstadt", State: "Land", Country: "Utopia",
		Frames: 7, Merged: 5, FNumber: 8, FocalMM: 16, Focal35MM: 24, ISO: 160, Seconds: 0.5, Software: "Mullion 0.1",
	}
}

// read writes a small JPEG with the segments and returns what exiftool, an
// independent reader, says is in it.
func read(t *testing.T, a About) map[string]any {
	t.Helper()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed; it is the independent reader of this test")
	}
	e, err := jpegfile.NewEncoder()
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	data, err := e.Encode(jpegfile.NewImage(96, 64), jpegfile.Options{Quality: 90})
	if err != nil {
		t.Fatal(err)
	}
	data, err = jpegfile.Splice(data, Segments(a, 96, 64, 300))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "p.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-j", "-G1", "-a", "-n", "-struct", "-validate", "-warning", "-error", "-all", path).Output()
	if err != nil {
		t.Fatalf("exiftool: %v\n%s", err, out)
	}
	var all []map[string]any
	if err := json.Unmarshal(out, &all); err != nil {
		t.Fatal(err)
	}
	return all[0]
}

func TestEveryFieldIsReadBack(t *testing.T) {
	got := read(t, sample())
	for k, want := range map[string]string{
		"IFD0:ImageDescription":             "Küche mit Blick in den Garten.\nZweite Zeile.",
		"IFD0:Orientation":                  "1",
		"IFD0:XResolution":                  "300",
		"IFD0:Software":                     "Mullion 0.1",
		"IFD0:Artist":                       "Zoë Ångström",
		"IFD0:Copyright":                    "© 2031 Zoë Ångström",
		"ExifIFD:ColorSpace":                "1",
		"ExifIFD:ExifImageWidth":            "96",
		"ExifIFD:ExifImageHeight":           "64",
		"ExifIFD:DateTimeOriginal":          "2031:05:04 14:15:06",
		"ExifIFD:OffsetTimeOriginal":        "+02:00",
		"ExifIFD:SubSecTimeOriginal":        "070",
		"ExifIFD:CompositeImage":            "2",
		"ExifIFD:CompositeImageCount":       "7 5",
		"ExifIFD:FNumber":                   "8",
		"ExifIFD:FocalLength":               "16",
		"ExifIFD:ISO":                       "160",
		"ExifIFD:FocalLengthIn35mmFormat":   "24",
		"ExifIFD:ExposureTime":              "<nil>", // a merge has none
		"XMP-dc:Title":                      "01-kueche",
		"XMP-dc:Description":                "Küche mit Blick in den Garten.\nZweite Zeile.",
		"XMP-dc:Creator":                    "[Zoë Ångström]",
		"XMP-dc:Rights":                     "© 2031 Zoë Ångström",
		"XMP-dc:Subject":                    "[Küche Fenster]",
		"XMP-iptcCore:AltTextAccessibility": "Eine weiße Küche mit Fenster.",
		"XMP-iptcExt:DigitalSourceType":     "http://cv.iptc.org/newscodes/digitalsourcetype/computationalCapture",
		"XMP-photoshop:Headline":            "Küche nach Süden",
		"XMP-photoshop:Credit":              "Zoë Å.",
		"XMP-photoshop:Instructions":        "as taken",
		"XMP-photoshop:City":                "Musterstadt",
		"XMP-photoshop:DateCreated":         "2031:05:04 14:15:06.070+02:00",
		"XMP-xmpRights:UsageTerms":          "For this listing only.",
		"XMP-xmpRights:WebStatement":        "https://example.com/licence",
		"XMP-xmpRights:Marked":              "true",
		"XMP-plus:Licensor":                 "[map[LicensorEmail:zoe@example.com LicensorName:Sample Studio LicensorURL:https://example.com]]",
		"XMP-iptcCore:CreatorContactInfo":   "map[CiEmailWork:zoe@example.com CiTelWork:+46 70 123 45 67 CiUrlWork:https://example.com]",
		"IPTC:CodedCharacterSet":            "\x1b%G",
		"IPTC:ObjectName":                   "01-kueche",
		"IPTC:By-line":                      "Zoë Ångström",
		"IPTC:Caption-Abstract":             "Küche mit Blick in den Garten.\nZweite Zeile.",
		"IPTC:DateCreated":                  "2031:05:04",
		"IPTC:TimeCreated":                  "14:15:06+02:00",
		"IPTC:CopyrightNotice":              "© 2031 Zoë Ångström",
		"IPTC:Country-PrimaryLocationName":  "Utopia",
		"ICC_Profile:ProfileDescription":    "sRGB IEC61966-2-1",
		"ICC-header:ProfileVersion":         "576",
		"ICC-header:ColorSpaceData":         "RGB ",
		"ExifTool:Validate":                 "0 0 0",
	} {
		if s := fmt.Sprint(got[k]); s != want {
			t.Errorf("%s is %q, want %q", k, s, want)
		}
	}
	if got["Photoshop:IPTCDigest"] != got["File:CurrentIPTCDigest"] && got["File:CurrentIPTCDigest"] != nil {
		t.Error("the digest of the IIM records is not theirs")
	}
	if t.Failed() {
		for k, v := range got {
			t.Logf("%s: %v", k, v)
		}
	}
	private(t, got)
}

// private fails on anything that must not leave the house.
func private(t *testing.T, got map[string]any) {
	t.Helper()
	for k := range got {
		l := strings.ToLower(k)
		for _, bad := range []string{"gps", "serial", "owner", "makernote", "thumbnail", "preview", "usercomment", "history", "ifd1"} {
			if strings.Contains(l, bad) {
				t.Errorf("the file holds %s", k)
			}
		}
	}
}

func TestSingleExposureAndAbsentFields(t *testing.T) {
	got := read(t, About{Title: "02", Merged: 1, Seconds: 1.0 / 60})
	for k, want := range map[string]string{
		"XMP-iptcExt:DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/digitalCapture",
		"ExifIFD:CompositeImage":        "1",
		"ExifIFD:ExposureTime":          fmt.Sprint(1.0 / 60)[:10],
		"ExifTool:Validate":             "0 0 0",
	} {
		if s := fmt.Sprint(got[k]); !strings.HasPrefix(s, want) {
			t.Errorf("%s is %q, want %q", k, s, want)
		}
	}
	for _, k := range []string{"IFD0:Artist", "IFD0:Copyright", "XMP-dc:Creator", "XMP-dc:Rights", "XMP-xmpRights:Marked",
		"XMP-plus:Licensor", "XMP-iptcCore:CreatorContactInfo", "IPTC:By-line", "XMP-dc:Description", "ExifIFD:DateTimeOriginal",
		"ExifIFD:CompositeImageCount", "ExifIFD:FNumber"} {
		if v, there := got[k]; there {
			t.Errorf("%s was not given and is in the file: %v", k, v)
		}
	}
	private(t, got)
}

// The colorants of sRGB under D50 (Bradford) as Lindbloom tabulates them, from
// memory. His white points are rounded differently (D50 Z 0.8252, here 0.8249),
// hence the tolerance.
func TestProfile(t *testing.T) {
	p := SRGB()
	be := binary.BigEndian
	if int(be.Uint32(p)) != len(p) || string(p[36:40]) != "acsp" || len(p)%4 != 0 {
		t.Fatal("the header is wrong")
	}
	tags := map[string][]byte{}
	for i := range int(be.Uint32(p[128:])) {
		e := p[132+12*i:]
		at, n := be.Uint32(e[4:]), be.Uint32(e[8:])
		if at%4 != 0 || int(at+n) > len(p) {
			t.Fatalf("tag %s lies at %d, %d bytes", e[:4], at, n)
		}
		tags[string(e[:4])] = p[at : at+n]
	}
	var sum [3]float64
	for name, want := range map[string][3]float64{
		"rXYZ": {0.4360, 0.2225, 0.0139}, "gXYZ": {0.3851, 0.7169, 0.0971}, "bXYZ": {0.1431, 0.0606, 0.7141}, "wtpt": {0.9642, 1, 0.8249}} {
		for k := range 3 {
			v := float64(int32(be.Uint32(tags[name][8+4*k:]))) / 65536
			if math.Abs(v-want[k]) > 4e-4 {
				t.Errorf("%s[%d] = %.5f, tabulated %.4f", name, k, v, want[k])
			}
			if name != "wtpt" {
				sum[k] += v
			}
		}
	}
	for k, v := range []float64{0.9642, 1, 0.8249} {
		if math.Abs(sum[k]-v) > 5e-5 {
			t.Errorf("white comes to %.5f, not %.4f", sum[k], v)
		}
	}
	// IEC 61966-2-1, code to linear.
	for code, want := range map[int]float64{1: .000304, 10: .003035, 11: .003347, 55: .038204, 118: .181164, 128: .215861, 188: .502886, 255: 1} {
		got := float64(be.Uint16(tags["gTRC"][12+2*4*code:])) / 65535
		if math.Abs(got-want) > 8e-6 {
			t.Errorf("code %d is %.6f, published %.6f", code, got, want)
		}
	}
}

func TestShortenAndCut(t *testing.T) {
	if got := Shorten("one two three four", 12); got != "one two…" && got != "one two thr…" || utf8.RuneCountInString(got) > 12 {
		t.Errorf("%q", got)
	}
	if got := Shorten("short", 5); got != "short" {
		t.Errorf("%q", got)
	}
	if got := cutBytes("ßßß", 5); got != "ßß" {
		t.Errorf("%q", got)
	}
	long := iim(About{Who: who.Who{Creator: strings.Repeat("é", 40)}})
	if !bytes.Contains(long, append([]byte{0x1C, 2, 80, 0, 32}, strings.Repeat("é", 16)...)) {
		t.Error("the by-line is not 32 bytes of whole characters")
	}
}

func FuzzStrings(f *testing.F) {
	f.Add("plain", "<a href='x'>&amp;\"]]>")
	f.Add("\x00\x01\xff\xfe", "\u202e\U0001F3E0\uFFFE")
	f.Add(strings.Repeat("ä", 70000), "\r\n\t")
	f.Fuzz(func(t *testing.T, one, two string) {
		a := About{Title: one, Description: two, AltText: one, Keywords: []string{one, two}, Instructions: two, City: one,
			Who: who.Who{Creator: two, Copyright: one, RightsPage: two, Email: one, Studio: two}, Software: one}
		for _, s := range Segments(a, 10, 10, 0) {
			if len(s.Payload) > jpegfile.MaxPayload {
				t.Fatalf("a segment of %d bytes", len(s.Payload))
			}
			if _, x, ok := bytes.Cut(s.Payload, []byte("http://ns.adobe.com/xap/1.0/\x00")); ok && s.Marker == jpegfile.APP1 {
				d := xml.NewDecoder(bytes.NewReader(x))
				for {
					if _, err := d.Token(); errors.Is(err, io.EOF) {
						break
					} else if err != nil {
						t.Fatalf("the XMP is not well-formed: %v\n%s", err, x)
					}
				}
			}
		}
	})
}
