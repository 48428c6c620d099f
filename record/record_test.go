package record

import (
	"context"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var ctx = context.Background()

func TestKinds(t *testing.T) {
	for _, c := range []struct{ kind, words, want string }{
		{"cord", "", "a loose cord"},
		{"Bin", "", "a bin"},
		{"other", "a garden hose", "a garden hose"},
		{"cord", "two  lamp\tcords", "two lamp cords"},
		{"other", "a toy on the floor", "a toy on the floor"},
		{"reflection", "a tripod in the window", "a tripod in the window"},
	} {
		if got, err := Check(Remove, c.kind, c.words); err != nil || got != c.want {
			t.Errorf("%s %q: %q, %v", c.kind, c.words, got, err)
		}
	}
	if got, err := Check(Soften, "alarm-panel", ""); err != nil || got != "an alarm panel" {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := Check(Remove, "other", " "); err == nil || !strings.Contains(err.Error(), "needs words") {
		t.Errorf("other without words: %v", err)
	}
	if _, err := Check(Remove, "banana", ""); err == nil || !strings.Contains(err.Error(), "cord, bin") {
		t.Errorf("an unknown kind: %v", err)
	}
}

func TestWhatBelongsToThePropertyIsRefused(t *testing.T) {
	for _, kind := range []string{"power-line", "crack", "stain", "damp", "outlet", "fixed-wiring", "neighbouring-building", "road", "view", "tree", "Power Lines", "cracks", "switches"} {
		_, err := Check(Remove, kind, "")
		var r *Refusal
		if !errors.As(err, &r) || r.Reason == "" || !strings.Contains(err.Error(), r.Reason) {
			t.Errorf("%s: %v", kind, err)
		}
	}
	for _, words := range []string{"a crack in the wall", "the neighbour's house", "water damage", "a power-line", "old wiring on the wall", "two trees", "Powerlines", "telephone poles that lean", "a cord and a plug socket",
		"a cracked tile", "mouldy grout", "damp patches", "street-lights", "a fusebox", "the stain of a leak", "broken window, left", "utility pole/wires", "rusty railing", "a hole in the plaster", "lightswitch"} {
		if _, err := Check(Remove, "other", words); err == nil {
			t.Errorf("%q is let through as \"other\"", words)
		}
	}
	for _, words := range []string{"a door mat", "a floor lamp", "a wall clock", "a garden hose by the fence", "a picture of a tree", "window cleaner's bucket", "a for sale sign that was left",
		"a wire basket", "two bins under the window", "a scratching post", "pool toys"} {
		if _, err := Check(Remove, "other", words); err != nil {
			t.Errorf("%q is refused: %v", words, err)
		}
	}
}

func TestCaption(t *testing.T) {
	cord := Edit{Action: Remove, Kind: "cord", What: "a loose cord"}
	bin := Edit{Action: Remove, Kind: "bin", What: "a bin"}
	face := Edit{Action: Soften, Kind: "face", What: "a face"}
	for want, edits := range map[string][]Edit{
		"": nil,
		"Altered photograph: a loose cord was taken out. The unaltered photograph is b.jpg.":                                             {cord, cord},
		"Altered photograph: a loose cord and a bin were taken out. The unaltered photograph is b.jpg. For privacy, a face was blurred.": {cord, face, bin},
	} {
		if got := Caption(edits, "b.jpg"); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
	if got := Caption([]Edit{face}, ""); got != "For privacy, a face was blurred." {
		t.Error(got)
	}
	if got := TwinName("03-bedroom.jpg"); got != "03-bedroom-unaltered.jpg" {
		t.Error(got)
	}
}

// delivery writes a small signed delivery and its originals.
func delivery(t *testing.T) (dir, shoot string, key ed25519.PrivateKey) {
	t.Helper()
	shoot = t.TempDir()
	dir = filepath.Join(shoot, "deliveries", "listing")
	for name, data := range map[string]string{
		"originals/A.DNG": "frame a", "originals/B.DNG": "frame b",
		"deliveries/listing/01-hall.jpg": "picture", "deliveries/listing/01-hall-unaltered.jpg": "twin",
		"deliveries/listing/pages/01-hall-640.jpg": "small", "deliveries/listing/index.html": "page",
		"deliveries/listing/.DS_file": "left by a file manager",
	} {
		path := filepath.Join(shoot, filepath.FromSlash(name))
		os.MkdirAll(filepath.Dir(path), 0o755)
		if err := os.WriteFile(path, []byte(data), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	key, err := Key(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	r := Record{
		Program: "Mullion test", Made: time.Date(2026, 5, 14, 10, 0, 0, 0, time.UTC), Delivery: "listing",
		Originals: []File{{Path: "originals/A.DNG"}, {Path: "originals/B.DNG"}},
		Pictures: []Picture{{
			File: "01-hall.jpg", Unaltered: "01-hall-unaltered.jpg", View: "view-01", Room: "Hall <1>", Frames: 5,
			Edits: []Edit{{Action: Remove, Kind: "cord", What: "a loose cord", Where: Area{10, 20, 30, 40}}},
		}},
	}
	for i := range r.Originals {
		sums, err := hashFolder(ctx, filepath.Join(shoot, "originals"))
		if err != nil {
			t.Fatal(err)
		}
		r.Originals[i].SHA256 = sums[i].SHA256
	}
	r.Pictures[0].Caption = Caption(r.Pictures[0].Edits, r.Pictures[0].Unaltered)
	if err := Write(ctx, dir, r, key); err != nil {
		t.Fatal(err)
	}
	return dir, shoot, key
}

func TestOneFlippedBitAnywhereIsNamed(t *testing.T) {
	dir, shoot, _ := delivery(t)
	v, err := Verify(ctx, dir, shoot)
	if err != nil || !v.OK() || v.Files != 5 || v.Originals != 2 || v.Absent != 0 {
		t.Fatalf("untouched: %+v, %v", v, err)
	}
	files := map[string]string{"originals/B.DNG": filepath.Join(shoot, "originals", "B.DNG")}
	for _, f := range append(v.Record.Files, File{Path: FileName}, File{Path: SigName}) {
		files[f.Path] = filepath.Join(dir, filepath.FromSlash(f.Path))
	}
	for name, path := range files {
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range []int{0, len(before) / 3, len(before) / 2, len(before) - 2} {
			after := append([]byte(nil), before...)
			after[at] ^= 1
			if at == len(before)-2 && name == SigName {
				after[at] ^= 1 // white space of the signature's file says nothing
				after[at-2] ^= 4
			}
			os.WriteFile(path, after, 0o644)
			v, err := Verify(ctx, dir, shoot)
			if err != nil || v.OK() || v.Faults[0].Path != name {
				t.Errorf("%s, byte %d: faults %v, %v", name, at, v.Faults, err)
			}
		}
		os.WriteFile(path, before, 0o644)
	}
	if v, err := Verify(ctx, dir, shoot); err != nil || !v.OK() {
		t.Fatalf("restored: %+v, %v", v.Faults, err)
	}
}

func TestMissingAndAddedFiles(t *testing.T) {
	dir, _, _ := delivery(t)
	os.Remove(filepath.Join(dir, "01-hall-unaltered.jpg"))
	os.WriteFile(filepath.Join(dir, "02-more.jpg"), []byte("x"), 0o644)
	v, err := Verify(ctx, dir, "")
	if err != nil || len(v.Faults) != 2 || v.Absent != 2 ||
		v.Faults[0] != (Fault{"01-hall-unaltered.jpg", "it is missing"}) || v.Faults[1].Path != "02-more.jpg" {
		t.Errorf("%+v, %v", v.Faults, err)
	}
	os.Remove(filepath.Join(dir, SigName))
	if v, _ := Verify(ctx, dir, ""); v.OK() || v.Faults[len(v.Faults)-1].Path != SigName {
		t.Errorf("without a signature: %+v", v.Faults)
	}
	if _, err := Verify(ctx, t.TempDir(), ""); err == nil {
		t.Error("an empty folder verifies")
	}
}

func TestSomebodyElsesSignatureHasAnotherFingerprint(t *testing.T) {
	dir, _, key := delivery(t)
	other, _ := Key(t.TempDir())
	v, _ := Verify(ctx, dir, "")
	if v.Fingerprint != Fingerprint(key.Public().(ed25519.PublicKey)) || v.Fingerprint == Fingerprint(other.Public().(ed25519.PublicKey)) {
		t.Errorf("fingerprint %q", v.Fingerprint)
	}
}

func TestKeyIsMadeOnceAndPrivate(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	a, err := Key(dir)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Key(dir)
	if err != nil || !a.Equal(b) {
		t.Errorf("the second time it is another key, %v", err)
	}
	info, err := os.Stat(filepath.Join(dir, keyName))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	os.WriteFile(filepath.Join(dir, keyName), []byte("nonsense"), 0o600)
	if _, err := Key(dir); err == nil || !strings.Contains(err.Error(), "backup") {
		t.Errorf("a damaged key: %v", err)
	}
}

// The signature's algorithm against RFC 8032, section 7.1, test 2.
func TestEd25519IsTheStandards(t *testing.T) {
	seed := []byte("\x4c\xcd\x08\x9b\x28\xff\x96\xda\x9d\xb6\xc3\x46\xec\x11\x4e\x0f\x5b\x8a\x31\x9f\x35\xab\xa6\x24\xda\x8c\xf6\xed\x4f\xb8\xa6\xfb")
	sig := ed25519.Sign(ed25519.NewKeyFromSeed(seed), []byte{0x72})
	if want := "\x92\xa0\x09\xa9\xf0\xd4\xca\xb8\x72\x0e\x82\x0b\x5f\x64\x25\x40\xa2\xb2\x7b\x54\x16\x50\x3f\x8f\xb3\x76\x22\x23\xeb\xdb\x69\xda"; string(sig[:32]) != want {
		t.Errorf("R is %x", sig[:32])
	}
}

func TestPageIsReadableAndSafe(t *testing.T) {
	dir, _, _ := delivery(t)
	b, err := os.ReadFile(filepath.Join(dir, PageName))
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	for _, want := range []string{"Hall &lt;1&gt;", "01-hall-unaltered.jpg", "a loose cord", "10 % from the left", "local law", "Ed25519"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page has no %q", want)
		}
	}
	if strings.Contains(page, "http://") || strings.Contains(page, "https://") || strings.Contains(page, "<script") {
		t.Error("the page asks for something from outside")
	}
	var r Record
	b, _ = os.ReadFile(filepath.Join(dir, FileName))
	if err := json.Unmarshal(b, &r); err != nil || r.Pictures[0].Edits[0].Where.W != 30 {
		t.Errorf("%+v, %v", r, err)
	}
}
