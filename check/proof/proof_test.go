package proof

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/card"
	"mullion/demo"
)

// fill writes a card of a few files and returns its folder.
func fill(t testing.TB) string {
	t.Helper()
	root := filepath.Join(t.TempDir(), "card")
	for i := range 5 {
		write(t, root, fmt.Sprintf("DCIM/100LFELD/LF1_%04d.DNG", i+1), strings.Repeat(fmt.Sprint("frame ", i), 5000))
	}
	write(t, root, "DCIM/100LFELD/LF1_0001.JPG", "its companion")
	write(t, root, ".Trashes/gone", "hidden")
	write(t, root, "System Volume Information/x", "a computer's own")
	return root
}

func write(t testing.TB, root, rel, text string) {
	t.Helper()
	name := filepath.Join(root, filepath.FromSlash(rel))
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// copied copies a card to two places.
func copied(t testing.TB, root string) (one, two string) {
	t.Helper()
	files, _, err := card.Scan(t.Context(), root)
	if err != nil {
		t.Fatal(err)
	}
	one, two = filepath.Join(t.TempDir(), "originals"), filepath.Join(t.TempDir(), "second")
	r, err := card.Copy(t.Context(), files, []string{one, two}, nil)
	if err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	return one, two
}

// change alters a read-only copy.
func change(t testing.TB, name string, alter func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(name, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, alter(b), 0o644); err != nil {
		t.Fatal(err)
	}
}

func flip(b []byte) []byte { b[len(b)/2] ^= 1; return b }

func prove(t testing.TB, root string, except []string, dirs ...string) *Proof {
	t.Helper()
	p, err := Check(t.Context(), dirs, Options{Card: root, Waived: except})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestSafe(t *testing.T) {
	root := fill(t)
	one, two := copied(t, root)
	p := prove(t, root, nil, one, two)
	if !p.Safe() || !p.Whole() || len(p.Files) != 6 {
		t.Errorf("not safe: %+v", p.Files)
	}
	var list strings.Builder
	if err := p.Write(&list); err != nil || strings.Count(list.String(), "proved\t") != 6 || !strings.Contains(list.String(), "Every file is proved") {
		t.Errorf("the list: %v\n%s", err, list.String())
	}
	if len(p.Notes) == 0 {
		t.Error("three folders on one disk were passed without a word")
	}
}

// Nothing is falsely called safe: each fault by itself must prevent it.
func TestNeverFalselySafe(t *testing.T) {
	const copy2 = "DCIM/100LFELD/LF1_0002.DNG"
	for name, spoil := range map[string]func(t *testing.T, root, one, two string){
		"a byte flipped on the first copy":  func(t *testing.T, _, one, _ string) { change(t, filepath.Join(one, copy2), flip) },
		"a byte flipped on the second copy": func(t *testing.T, _, _, two string) { change(t, filepath.Join(two, copy2), flip) },
		"a byte flipped on the card":        func(t *testing.T, root, _, _ string) { change(t, filepath.Join(root, copy2), flip) },
		"a copy cut short": func(t *testing.T, _, one, _ string) {
			change(t, filepath.Join(one, copy2), func(b []byte) []byte { return b[:9] })
		},
		"a copy gone":                        func(t *testing.T, _, _, two string) { os.Remove(filepath.Join(two, copy2)) },
		"a new frame on the card":            func(t *testing.T, root, _, _ string) { write(t, root, "DCIM/100LFELD/LF1_0009.DNG", "new") },
		"a film on the card":                 func(t *testing.T, root, _, _ string) { write(t, root, "DCIM/100LFELD/LF1_0009.MOV", "film") },
		"a file of another kind on the card": func(t *testing.T, root, _, _ string) { write(t, root, "notes.txt", "hall light was off") },
		"no manifest":                        func(t *testing.T, _, one, _ string) { os.Remove(filepath.Join(one, card.ManifestName)) },
		"a manifest cut short": func(t *testing.T, _, one, _ string) {
			change(t, filepath.Join(one, card.ManifestName), func(b []byte) []byte { return b[:len(b)-20] })
		},
		"the second place gone": func(t *testing.T, _, _, two string) { os.RemoveAll(two) },
		"manifest and copy changed alike": func(t *testing.T, _, one, two string) {
			// Somebody "repaired" the manifest: the card still tells.
			change(t, filepath.Join(one, copy2), flip)
			sum, _, err := card.Sum(t.Context(), filepath.Join(one, copy2))
			if err != nil {
				t.Fatal(err)
			}
			old, _, _ := card.Sum(t.Context(), filepath.Join(two, copy2))
			change(t, filepath.Join(one, card.ManifestName), func(b []byte) []byte { return []byte(strings.ReplaceAll(string(b), old, sum)) })
		},
	} {
		t.Run(name, func(t *testing.T) {
			root := fill(t)
			one, two := copied(t, root)
			spoil(t, root, one, two)
			p, err := Check(t.Context(), []string{one, two}, Options{Card: root})
			if p.Safe() {
				t.Errorf("it was called safe (%v)", err)
			}
			var list strings.Builder
			p.Write(&list)
			if strings.Contains(list.String(), "Every file is proved") {
				t.Error("the list says that every file is proved")
			}
		})
	}
}

func TestExcept(t *testing.T) {
	root := fill(t)
	write(t, root, "MISC/INDEX.CTG", "a camera's own index")
	one, two := copied(t, root)
	if prove(t, root, nil, one, two).Safe() {
		t.Error("safe with a file that has no copy")
	}
	if p := prove(t, root, []string{"*.CTG"}, one, two); !p.Safe() {
		t.Errorf("not safe although the file isn't needed: %+v", p.Files)
	}
	if prove(t, root, []string{"*.DNG"}, one).Files[0].State != Proved {
		t.Error("a proved file was waived")
	}
}

// The demo card's own label needs no copy; a file of that name with other words does.
func TestDemoLabel(t *testing.T) {
	root := fill(t)
	one, two := copied(t, root)
	write(t, root, "DEMO-CARD.txt", "my own words")
	if prove(t, root, nil, one, two).Safe() {
		t.Error("safe with a text that has no copy")
	}
	label := filepath.Join(t.TempDir(), "card")
	if err := demo.Write(t.Context(), label, demo.Options{Only: []string{"shower"}}, nil); err != nil {
		t.Fatal(err)
	}
	one, two = copied(t, label)
	if p := prove(t, label, nil, one, two); !p.Safe() || len(p.Files) != 6 {
		t.Errorf("the demo card is not safe: %+v", p.Files)
	}
}

func TestPlacesApart(t *testing.T) {
	root := fill(t)
	one, _ := copied(t, root)
	inside := filepath.Join(root, "copy")
	if err := os.CopyFS(inside, os.DirFS(one)); err != nil {
		t.Fatal(err)
	}
	for name, dirs := range map[string][]string{"on the card": {inside}, "twice": {one, one}} {
		if p, err := Check(t.Context(), dirs, Options{Card: root}); err == nil || p.Safe() {
			t.Errorf("copies %s: safe %v, error %v", name, p.Safe(), err)
		}
	}
	p, err := Check(t.Context(), []string{one}, Options{Card: filepath.Join(root, "nothing here")})
	if err == nil || p.Safe() {
		t.Errorf("a card that isn't there: safe %v, error %v", p.Safe(), err)
	}
}

// The same picture under two names, and two pictures under one name, are both proved.
func TestNames(t *testing.T) {
	root := fill(t)
	write(t, root, "DCIM/101LFELD/LF1_0001.DNG", "another picture of that name")
	write(t, root, "DCIM/101LFELD/LF1_0002.DNG", strings.Repeat("frame 3", 5000))
	one, two := copied(t, root)
	if p := prove(t, root, nil, one, two); !p.Safe() || len(p.Files) != 8 {
		t.Errorf("%+v", p.Files)
	}
}

func TestOriginals(t *testing.T) {
	shoot := t.TempDir()
	if got := Originals(shoot); got != filepath.Join(shoot, "originals") {
		t.Error(got)
	}
	write(t, shoot, card.ManifestName, "x")
	if got := Originals(shoot); got != shoot {
		t.Error(got)
	}
}
