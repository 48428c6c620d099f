package deliver

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"mullion/jpegfile"
)

// Every rule is broken once, and named; what was written is without fault.
func TestValidateNamesWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	s := sheet(t, "listing")
	file := filepath.Join(dir, "01-front.jpg")
	if _, err := Write(t.Context(), room(1500, 1000, .002), s, About{Merged: 5}, file); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Validate(t.Context(), file); err != nil || len(got) != 0 {
		t.Fatalf("%q, %v", got, err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	segments, rest, err := jpegfile.Split(data)
	if err != nil {
		t.Fatal(err)
	}
	with := func(change func([]jpegfile.Segment) []jpegfile.Segment) []byte {
		var c []jpegfile.Segment
		for _, g := range segments {
			c = append(c, jpegfile.Segment{Marker: g.Marker, Payload: bytes.Clone(g.Payload)})
		}
		out, err := jpegfile.Join(change(c), rest)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	without := func(marker byte) []byte {
		return with(func(c []jpegfile.Segment) []jpegfile.Segment {
			var keep []jpegfile.Segment
			for _, g := range c {
				if g.Marker != marker {
					keep = append(keep, g)
				}
			}
			return keep
		})
	}
	replace := func(old, now string) []byte {
		return with(func(c []jpegfile.Segment) []jpegfile.Segment {
			n := 0
			for i := range c {
				n += bytes.Count(c[i].Payload, []byte(old))
				c[i].Payload = bytes.ReplaceAll(c[i].Payload, []byte(old), []byte(now))
			}
			if n == 0 {
				t.Fatalf("the file has no %q", old)
			}
			return c
		})
	}
	tight, small, square := s, s, s
	tight.File.MaxBytes = 20_000
	small.Pixels.LongEdge = 800
	square.Pixels.Ratio = "1:1"
	for want, c := range map[string]struct {
		s    Sheet
		data []byte
	}{
		"allows 20000":                  {tight, data},
		"allows 800":                    {small, data},
		"which is not 1:1":              {square, data},
		"can't be read":                 {s, data[100:]},
		"does not end":                  {s, append(bytes.Clone(data), 0)},
		"Exif or XMP record is missing": {s, without(jpegfile.APP1)},
		"profile is missing":            {s, without(jpegfile.APP2)},
		"how the picture came about":    {s, replace("digitalsourcetype/", "digitalsourcetypo/")},
		"OwnerName":                     {s, replace("computationalCapture", "computaOwnerNametion")},
		"does not say sRGB":             {s, replace("\xA0\x01\x00\x03\x00\x00\x00\x01\x00\x01", "\xA0\x01\x00\x03\x00\x00\x00\x01\xFF\xFF")},
		"a position (GPS)":              {s, replace("\xA0\x01\x00\x03\x00\x00\x00\x01\x00\x01", "\x88\x25\x00\x04\x00\x00\x00\x01\x00\x01")},
		"segment that does not belong": {s, with(func(c []jpegfile.Segment) []jpegfile.Segment {
			return append(c, jpegfile.Segment{Marker: 0xFE, Payload: []byte("hello")})
		})},
		"the camera's serial number":      {s, replace("\xA0\x01\x00\x03\x00\x00\x00\x01\x00\x01", "\xA4\x31\x00\x02\x00\x00\x00\x01\x41\x00")},
		"Its pixels can't be decoded: ":   {s, append(bytes.Clone(data[:len(data)-len(rest)]), 0xFF, 0xDA, 0xFF, 0xD9)},
		"the lens's serial number, which": {s, replace("\xA0\x01\x00\x03\x00\x00\x00\x01\x00\x01", "\xA4\x35\x00\x02\x00\x00\x00\x01\x41\x00")},
	} {
		if got := strings.Join(c.s.validate(c.data), "\n"); !strings.Contains(got, want) {
			t.Errorf("want %q, got %q", want, got)
		}
	}
}

// The archive holds the folder, is the same twice, and one changed byte in it, or in
// the folder, shows.
func TestArchive(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "pages"), 0o755); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{"01-hall.jpg": "one", "pages/01-hall-640.jpg": "little", "licence.txt": "yours", ".hidden": "no"}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	when := time.Date(2026, 5, 14, 10, 30, 2, 0, time.UTC)
	if err := WriteArchive(t.Context(), dir, when); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, ArchiveName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil || len(z.File) != 3 {
		t.Fatalf("%d files, %v", len(z.File), err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil || b.String() != files[f.Name] || !f.Modified.Equal(when) {
			t.Errorf("%s: %q of %v, %v", f.Name, b.String(), f.Modified, err)
		}
	}
	same := func() bool {
		ok, err := SameArchive(t.Context(), dir, when)
		if err != nil {
			t.Fatal(err)
		}
		return ok
	}
	if !same() {
		t.Error("the archive is not what the folder gives")
	}
	for i := range data {
		data[i] ^= 1
		os.WriteFile(path, data, 0o644)
		if same() {
			t.Fatalf("byte %d of %d was flipped and nothing noticed", i, len(data))
		}
		data[i] ^= 1
	}
	os.WriteFile(path, append(data, 0), 0o644)
	if same() {
		t.Error("a longer archive passes")
	}
	os.WriteFile(path, data, 0o644)
	os.WriteFile(filepath.Join(dir, "licence.txt"), []byte("theirs"), 0o644)
	if same() {
		t.Error("another folder has the same archive")
	}
}
