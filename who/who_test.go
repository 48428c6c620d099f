package who

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSaveLoad(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("MULLION_CONFIG", filepath.Join(dir, "not", "there"))
	w, err := Load()
	if err != nil || w != (Who{}) {
		t.Fatalf("without a file: %+v, %v", w, err)
	}
	for k, v := range map[string]string{
		"creator": "Zoë \"Z\" Ångström", "copyright": "© {year} Zoë Ångström", "rights-page": "https://example.com/licence",
		"email": "zoe@example.com", "phone": "+46 70 123 45 67", "credit": " Zoë Å. ",
	} {
		if err := w.Set(k, v); err != nil {
			t.Fatal(err)
		}
	}
	if err := Save(w); err != nil {
		t.Fatal(err)
	}
	got, err := Load()
	if err != nil || got != w {
		t.Fatalf("read back %+v, %v", got, err)
	}
	if got.Credit != "Zoë Å." {
		t.Errorf("credit %q: blanks around it were kept", got.Credit)
	}
	path, _ := Path()
	text, _ := os.ReadFile(path)
	if strings.Contains(string(text), "studio") {
		t.Errorf("an absent field is in the file:\n%s", text)
	}
	if err := w.Set("email", ""); err != nil || w.Email != "" {
		t.Error("a field could not be taken out")
	}
}

func TestNotice(t *testing.T) {
	w := Who{Copyright: "© {year} A. Sample"}
	if got := w.Notice(time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)); got != "© 2031 A. Sample" {
		t.Error(got)
	}
	if got := w.Notice(time.Time{}); got != "© A. Sample" {
		t.Error(got)
	}
}

func TestSetRefuses(t *testing.T) {
	for _, c := range []struct{ key, value, want string }{
		{"colour", "red", "there is no setting"},
		{"email", "nobody", "not an e-mail address"},
		{"email", "A <a@example.com>", "not an e-mail address"},
		{"rights-page", "example.com", "not a web address"},
		{"website", "javascript:alert(1)", "not a web address"},
		{"phone", "call me", "does not belong"},
		{"phone", "123", "3 digits"},
		{"creator", "two\nlines", "control character"},
		{"creator", "\xff", "UTF-8"},
		{"usage", strings.Repeat("x", 1001), "at most 1000"},
	} {
		var w Who
		if err := w.Set(c.key, c.value); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s = %q: %v", c.key, c.value, err)
		}
	}
}

func TestLoadRefuses(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("MULLION_CONFIG", dir)
	for text, want := range map[string]string{
		"creator = \"A\"\n\nemail = [\n": "line",
		"nickname = \"A\"":               "there is no setting \"nickname\"",
		"email = \"x\"":                  "not an e-mail address",
		"creator = 3":                    "creator",
	} {
		path := filepath.Join(dir, "who.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte("creator = \"A\"\nemail = \"a@example.com\"\n"))
	f.Add([]byte("x = 1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if w, err := parse(data); err == nil {
			if err := w.Validate(); err != nil {
				t.Fatal("accepted and then refused:", err)
			}
		}
	})
}
