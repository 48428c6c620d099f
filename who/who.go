// Package who keeps what the photographer says about himself or herself in one
// small file in the user's configuration folder. It fills the metadata of
// delivered pictures; a field that is absent there stays out of the files.
package who

import (
	"errors"
	"fmt"
	"io/fs"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// Who is the person or studio behind the pictures. An empty field is absent.
type Who struct {
	Creator    string `toml:"creator,omitempty"`     // the photographer
	Studio     string `toml:"studio,omitempty"`      // who grants licences, when not the photographer
	Credit     string `toml:"credit,omitempty"`      // the credit line as it is to be printed
	Copyright  string `toml:"copyright,omitempty"`   // the copyright notice; {year} becomes the year of capture
	Usage      string `toml:"usage,omitempty"`       // one sentence on what the pictures may be used for
	RightsPage string `toml:"rights-page,omitempty"` // address of a page with the licence
	Email      string `toml:"email,omitempty"`
	Website    string `toml:"website,omitempty"`
	Phone      string `toml:"phone,omitempty"`
}

// Field is one setting: its key in the file, what it means, and where it lives.
type Field struct {
	Key, Help string
	get       func(*Who) *string
	check     func(string) error
}

// Fields lists every setting in the order of the file.
func Fields() []Field {
	return []Field{
		{"creator", "the photographer's name", func(w *Who) *string { return &w.Creator }, plain},
		{"studio", "the studio that grants licences, if it is not the photographer", func(w *Who) *string { return &w.Studio }, plain},
		{"credit", "the credit line as it is to be printed", func(w *Who) *string { return &w.Credit }, plain},
		{"copyright", "the copyright notice; {year} stands for the year of capture", func(w *Who) *string { return &w.Copyright }, plain},
		{"usage", "one sentence on what the pictures may be used for", func(w *Who) *string { return &w.Usage }, plain},
		{"rights-page", "address of the page with the licence (https://...)", func(w *Who) *string { return &w.RightsPage }, webAddress},
		{"email", "e-mail address for licence questions", func(w *Who) *string { return &w.Email }, email},
		{"website", "web address of the photographer or studio (https://...)", func(w *Who) *string { return &w.Website }, webAddress},
		{"phone", "telephone number, with the country code", func(w *Who) *string { return &w.Phone }, phone},
	}
}

// Get returns the value of a setting, and an error for a key that is none.
func (w *Who) Get(key string) (string, error) {
	f, err := find(key)
	if err != nil {
		return "", err
	}
	return *f.get(w), nil
}

// Set changes one setting; an empty value takes it out.
func (w *Who) Set(key, value string) error {
	f, err := find(key)
	if err != nil {
		return err
	}
	value = strings.TrimSpace(value)
	if value != "" {
		if err := f.check(value); err != nil {
			return fmt.Errorf("%s: %w", f.Key, err)
		}
	}
	*f.get(w) = value
	return nil
}

// Validate checks every setting.
func (w *Who) Validate() error {
	var errs []error
	for _, f := range Fields() {
		if v := *f.get(w); v != "" {
			if err := f.check(v); err != nil {
				errs = append(errs, fmt.Errorf("%s: %w", f.Key, err))
			}
		}
	}
	return errors.Join(errs...)
}

// Notice returns the copyright notice for a picture taken at the given time.
// Without a time the year is left out.
func (w *Who) Notice(taken time.Time) string {
	year := ""
	if !taken.IsZero() {
		year = strconv.Itoa(taken.Year())
	}
	return strings.Join(strings.Fields(strings.ReplaceAll(w.Copyright, "{year}", year)), " ")
}

func find(key string) (Field, error) {
	var keys []string
	for _, f := range Fields() {
		if f.Key == key {
			return f, nil
		}
		keys = append(keys, f.Key)
	}
	return Field{}, fmt.Errorf("there is no setting %q; there are %s", key, strings.Join(keys, ", "))
}

// maxLen keeps a setting from filling a file's metadata segment.
const maxLen = 1000

func plain(s string) error {
	if !utf8.ValidString(s) {
		return errors.New("not valid UTF-8 text")
	}
	if n := utf8.RuneCountInString(s); n > maxLen {
		return fmt.Errorf("%d characters; at most %d fit", n, maxLen)
	}
	for _, r := range s {
		if unicode.IsControl(r) {
			return fmt.Errorf("holds the control character %U; write it on one line, as plain text", r)
		}
	}
	return nil
}

func webAddress(s string) error {
	if err := plain(s); err != nil {
		return err
	}
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || strings.ContainsAny(s, " \"<>") {
		return fmt.Errorf("%q is not a web address; write it whole, like https://example.com/licence", s)
	}
	return nil
}

func email(s string) error {
	if err := plain(s); err != nil {
		return err
	}
	if a, err := mail.ParseAddress(s); err != nil || a.Address != s {
		return fmt.Errorf("%q is not an e-mail address; write it like name@example.com", s)
	}
	return nil
}

func phone(s string) error {
	digits := 0
	for _, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case !strings.ContainsRune("+-() ./", r):
			return fmt.Errorf("%q is not a telephone number: %q does not belong in one", s, r)
		}
	}
	if digits < 5 || digits > 15 { // ITU-T E.164: at most 15 digits
		return fmt.Errorf("%q is not a telephone number: it has %d digits", s, digits)
	}
	return nil
}

// Path returns where the file lives: who.toml in the folder MULLION_CONFIG names,
// else in mullion/ in the user's configuration folder.
func Path() (string, error) {
	dir := os.Getenv("MULLION_CONFIG")
	if dir == "" {
		base, err := os.UserConfigDir()
		if err != nil {
			return "", fmt.Errorf("no configuration folder is known (%w); set MULLION_CONFIG to a folder", err)
		}
		dir = filepath.Join(base, "mullion")
	}
	return filepath.Join(dir, "who.toml"), nil
}

// Load reads the file. One that isn't there is not an error: every field is empty.
func Load() (Who, error) {
	path, err := Path()
	if err != nil {
		return Who{}, err
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Who{}, nil
	}
	if err != nil {
		return Who{}, err
	}
	w, err := parse(data)
	if err != nil {
		return Who{}, fmt.Errorf("%s: %w; correct it there or with mullion config", path, err)
	}
	return w, nil
}

func parse(data []byte) (Who, error) {
	var w Who
	meta, err := toml.Decode(string(data), &w)
	if err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return Who{}, fmt.Errorf("line %d: %s", pe.Position.Line, pe.Message)
		}
		return Who{}, err
	}
	if un := meta.Undecoded(); len(un) > 0 {
		_, err := find(un[0].String())
		return Who{}, err
	}
	return w, w.Validate()
}

// Save writes the file, readable by the user alone, in one step.
func Save(w Who) error {
	if err := w.Validate(); err != nil {
		return err
	}
	path, err := Path()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".who-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	fmt.Fprintln(f, "# What mullion writes into delivered pictures about who made them.")
	fmt.Fprintln(f, "# mullion config shows and sets these; an absent line stays out of the files.")
	err = toml.NewEncoder(f).Encode(w)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// licenceName is the user's own licence text, beside who.toml.
const licenceName = "licence.txt"

// maxLicence is far more than any licence needs.
const maxLicence = 256 << 10

// Licence returns the user's own licence text, which goes with every delivery, or ""
// when none was set.
func Licence() (string, error) {
	path, err := Path()
	if err != nil {
		return "", err
	}
	data, err := os.ReadFile(filepath.Join(filepath.Dir(path), licenceName))
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return string(data), err
}

// SetLicence keeps the text of a file as the user's licence; an empty name takes it
// out. {year} and {creator} in it are filled in with every delivery.
func SetLicence(file string) error {
	path, err := Path()
	if err != nil {
		return err
	}
	to := filepath.Join(filepath.Dir(path), licenceName)
	if file == "" {
		if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	data, err := os.ReadFile(file)
	switch {
	case err != nil:
		return err
	case len(data) > maxLicence || !utf8.Valid(data) || strings.ContainsRune(string(data), 0):
		return fmt.Errorf("%s: the licence must be plain text (UTF-8) of at most %d bytes", file, maxLicence)
	case strings.TrimSpace(string(data)) == "":
		return fmt.Errorf("%s: there is no text in it", file)
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o600)
}

// FillLicence puts the year of capture and the creator's name into a licence text.
func (w *Who) FillLicence(text string, taken time.Time) string {
	year := ""
	if !taken.IsZero() {
		year = strconv.Itoa(taken.Year())
	}
	return strings.NewReplacer("{year}", year, "{creator}", w.Creator, "{studio}", w.Studio).Replace(text)
}
