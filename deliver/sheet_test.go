package deliver

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestBuiltinSheets(t *testing.T) {
	if got := Builtin(); !slices.Equal(got, []string{"listing", "listing-small", "print"}) {
		t.Fatal(got)
	}
	for _, n := range Builtin() {
		s := sheet(t, n)
		if s.Name != n || s.Title == "" || s.Date == "" || s.Source == "" {
			t.Errorf("%+v lacks a name, title, date or source", s)
		}
	}
	l := sheet(t, "listing")
	if l.Pixels.LongEdge != 2048 || l.File.MaxBytes != 5_000_000 || l.Text.TitleMax != 40 || l.Set.MaxCount != 40 {
		t.Errorf("%+v", l)
	}
}

func TestSheetErrors(t *testing.T) {
	dir := t.TempDir()
	for text, want := range map[string]string{
		"[pixels]\nlong-edge = 2048\nlong-ege = 3\n":       `line 3: there is no setting "pixels.long-ege"`,
		"title = \"x\"\n[colours]\nred = 1\n":              "there is no setting",
		"[file]\nmax-bytes = 5\n":                          "line 2: max-bytes: 5 bytes is not between",
		"[file]\n\nquality = [90, 80]\n":                   "line 3: quality: [90, 80]",
		"[file]\nmax-bytes = 100000\naim-bytes = 200000\n": "line 3: aim-bytes: 200000 is more than max-bytes",
		"[pixels]\nratio = \"wide\"\n":                     "line 2: ratio:",
		"[set]\nnames = \"{room}\"\n":                      "line 2: names:",
		"[set]\nnames = \"../{order}\"\n":                  "line 2: names:",
		"[file]\nsharpen = nan\n":                          "line 2: sharpen:",
		"[file]\ngood = 99\n":                              "line 2: good: 99",
		"date = \"soon\"\n":                                "line 1: date:",
		"[pixels]\nlong-edge = \"2048\"\n":                 "long-edge",
		"[pixels\n":                                        "line 2",
		"[set]\nwarn-count = 50\nmax-count = 40\n":         "line 2: warn-count: 50",
	} {
		path := filepath.Join(dir, "mine.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := LoadSheet(context.Background(), path)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "mine.toml") {
			t.Errorf("%q: %v", text, err)
		}
	}
	for _, n := range []string{"brochure", filepath.Join(dir, "none.toml"), dir + "/"} {
		if _, err := LoadSheet(context.Background(), n); err == nil {
			t.Errorf("%s was loaded", n)
		}
	}
	own := filepath.Join(dir, "small.toml")
	if err := os.WriteFile(own, []byte("[pixels]\nlong-edge = 1600\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := LoadSheet(context.Background(), own)
	if err != nil || s.Name != "small" || s.Pixels.Ratio != "keep" || s.File.Good == 0 {
		t.Errorf("%+v, %v", s, err)
	}
}

func FuzzSheet(f *testing.F) {
	for _, n := range Builtin() {
		text, _ := BuiltinText(n)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := parseSheet("x", text)
		if err != nil {
			return
		}
		for _, size := range [][2]int{{6000, 4000}, {1, 1}, {1, 5000}} {
			if g := s.Pixels.fit(size[0], size[1]); g.outW < 1 || g.outH < 1 || g.outW > size[0] || g.outH > size[1] || g.x < 0 || g.y < 0 || g.x+g.w > size[0] {
				t.Fatalf("%+v on %v gives %+v", s.Pixels, size, g)
			}
		}
	})
}

func TestNames(t *testing.T) {
	n := Namer{}
	for _, c := range []struct {
		order      int
		room, want string
	}{
		{1, "Front exterior", "01-front-exterior.jpg"},
		{2, "Küche", "02-kueche.jpg"},
		{3, "Küche ", "03-kueche-2.jpg"},
		{4, "", "04.jpg"},
		{5, "Salle à manger / séjour", "05-salle-a-manger-sejour.jpg"},
		{6, "Smørrebrød & Łódź", "06-smoerrebroed-and-lodz.jpg"},
		{7, "Кухня", "07-kukhnya.jpg"},
		{8, "浴室", "08.jpg"},
		{9, "../../etc/passwd\x00", "09-etc-passwd.jpg"},
		{10, "O\u0308stliches Zimmer", "10-oestliches-zimmer.jpg"},
		{11, "Owner's bath", "11-owners-bath.jpg"},
		{12, strings.Repeat("long ", 40), "12-long-long-long-long-long-long-long-long-long-lon.jpg"},
		{12, "", "12.jpg"},
		{12, "", "12-2.jpg"},
	} {
		got := n.Name(c.order, c.room)
		if got != c.want {
			t.Errorf("%d %q: %s, want %s", c.order, c.room, got, c.want)
		}
	}
	if got := (&Namer{Total: 120}).Name(7, "hall"); got != "007-hall.jpg" {
		t.Error(got)
	}
	if got := (&Namer{Pattern: "{room}-{order}"}).Name(7, ""); got != "07.jpg" {
		t.Error(got)
	}
}

func FuzzSlug(f *testing.F) {
	f.Add("Küche")
	f.Add("\xff/\u202e")
	f.Fuzz(func(t *testing.T, s string) {
		for _, r := range Slug(s) {
			if !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-') {
				t.Fatalf("%q gives %q", s, Slug(s))
			}
		}
	})
}

func TestCheck(t *testing.T) {
	s := sheet(t, "listing")
	items := make([]Item, 26)
	for i := range items {
		items[i] = Item{Order: i + 1, Room: "Front exterior", Width: 6000, Height: 4000}
	}
	if got := s.Check(items[:25]); len(got) != 0 {
		t.Errorf("%q", got)
	}
	items[0] = Item{Order: 1, Room: strings.Repeat("r", 41), Caption: strings.Repeat("ü", 1001), Altered: "a cord was taken out"}
	items[1].Width, items[1].Height = 900, 600
	items[2].Room, items[3].Room, items[4].Room = "", " ", "浴室"
	s.Pixels.Ratio, s.File.MaxBytes = "4:3", 100_000
	got := strings.Join(s.Check(items), "\n")
	for _, want := range []string{"26 pictures; above 25", "1001 characters", "41 characters", "out of the first picture", "asks for the front of the house first",
		"Picture 2 is smaller than the 1024 pixels", "Pictures 2, 3, 4", "lose up to 12 % to the ratio 4:3", "more pixels than fit 100000 bytes",
		"Pictures 3 and 4 have no room", "Picture 5 has a room in letters that file", "Picture 5 has a room in letters that the contact sheet"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in\n%s", want, got)
		}
	}
	s = sheet(t, "print")
	if got := s.Check(items[1:3]); len(got) != 2 { // no front asked for; pixels, room
		t.Errorf("%q", got)
	}
	s = sheet(t, "listing")
	if got := s.Check([]Item{{Order: 1}}); len(got) != 2 || !strings.Contains(got[0], "nobody knows") {
		t.Errorf("%q", got)
	}
	many := make([]Item, 43)
	if got := s.Check(many); !strings.Contains(strings.Join(got, ""), "set 3 aside") || s.Over(43) != 3 || s.Over(40) != 0 {
		t.Errorf("%q", got)
	}
}
