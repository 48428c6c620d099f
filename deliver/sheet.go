package deliver

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// Sheet is a delivery sheet: the rules of one recipient. A zero limit means
// there is none.
type Sheet struct {
	Name   string `toml:"-"`      // built-in name, or the file's name without .toml
	Title  string `toml:"title"`  // for people
	Date   string `toml:"date"`   // when the figures were read, YYYY-MM-DD
	Source string `toml:"source"` // where they were read

	Pixels Pixels    `toml:"pixels"`
	File   FileRules `toml:"file"`
	Text   TextRules `toml:"text"`
	Set    SetRules  `toml:"set"`
}

// Pixels are a sheet's rules of size. A picture is never enlarged.
type Pixels struct {
	LongEdge  int    `toml:"long-edge"`  // of the longer side
	MaxWidth  int    `toml:"max-width"`  // of the width, landscape or portrait
	MaxHeight int    `toml:"max-height"` // of the height
	WarnBelow int    `toml:"warn-below"` // a longer side below this draws a warning
	Ratio     string `toml:"ratio"`      // "keep", or like "4:3": cropped about the centre, turned for portrait views
}

// FileRules are a sheet's rules for the coded file.
type FileRules struct {
	MaxBytes    int     `toml:"max-bytes"`   // never exceeded
	AimBytes    int     `toml:"aim-bytes"`   // exceeded only to keep the quality good
	Quality     [2]int  `toml:"quality"`     // lowest and highest JPEG quality tried
	Good        int     `toml:"good"`        // below it 4:4:4 gives way to 4:2:0
	Progressive bool    `toml:"progressive"` // baseline when false
	DPI         int     `toml:"dpi"`
	Sharpen     float64 `toml:"sharpen"` // 0 none, 1 what the reduction asks for, at most 2
}

// TextRules limit the words that go with a picture, in characters.
type TextRules struct {
	CaptionMax int `toml:"caption-max"`
	TitleMax   int `toml:"title-max"`
}

// SetRules are about all the pictures together.
type SetRules struct {
	WarnCount int    `toml:"warn-count"`
	MaxCount  int    `toml:"max-count"`
	Names     string `toml:"names"` // file name without .jpg, with {order} and {room}
	First     string `toml:"first"` // "front": the first picture shows the house from the front, unaltered
}

//go:embed sheets/*.toml
var builtin embed.FS

// Builtin lists the names of the sheets that are built in.
func Builtin() []string {
	files, _ := fs.Glob(builtin, "sheets/*.toml") // the pattern is sound
	for i, f := range files {
		files[i] = strings.TrimSuffix(path.Base(f), ".toml")
	}
	slices.Sort(files)
	return files
}

// BuiltinText returns the file of a built-in sheet, to start one's own from.
func BuiltinText(name string) ([]byte, error) {
	if !slices.Contains(Builtin(), name) {
		return nil, fmt.Errorf("there is no built-in delivery sheet %q; there are %s, or give the path of a .toml file",
			name, strings.Join(Builtin(), ", "))
	}
	return builtin.ReadFile("sheets/" + name + ".toml")
}

// maxSheetBytes is far more than any sheet needs.
const maxSheetBytes = 1 << 20

// LoadSheet returns a built-in sheet by its name, or reads the user's own when
// nameOrFile ends in .toml or holds a path separator. A file must be right in
// every line: a key that isn't known is an error, not a comment.
func LoadSheet(ctx context.Context, nameOrFile string) (Sheet, error) {
	if err := ctx.Err(); err != nil {
		return Sheet{}, err
	}
	if !strings.HasSuffix(nameOrFile, ".toml") && filepath.Base(nameOrFile) == nameOrFile {
		text, err := BuiltinText(nameOrFile)
		if err != nil {
			return Sheet{}, err
		}
		return parseSheet(nameOrFile, text)
	}
	st, err := os.Stat(nameOrFile)
	if err != nil {
		return Sheet{}, fmt.Errorf("delivery sheet: %w", err)
	}
	if !st.Mode().IsRegular() || st.Size() > maxSheetBytes {
		return Sheet{}, fmt.Errorf("%s: not a delivery sheet (a small text file in TOML)", nameOrFile)
	}
	text, err := os.ReadFile(nameOrFile)
	if err != nil {
		return Sheet{}, fmt.Errorf("delivery sheet: %w", err)
	}
	s, err := parseSheet(strings.TrimSuffix(filepath.Base(nameOrFile), ".toml"), text)
	if err != nil {
		return Sheet{}, fmt.Errorf("%s: %w", nameOrFile, err)
	}
	return s, nil
}

func parseSheet(name string, text []byte) (Sheet, error) {
	s := Sheet{Name: name}
	meta, err := toml.Decode(string(text), &s)
	if err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			msg := pe.Message
			if msg == "" {
				msg = strings.TrimPrefix(pe.Error(), "toml: ")
			}
			return Sheet{}, fmt.Errorf("line %d: %s", pe.Position.Line, msg)
		}
		return Sheet{}, fmt.Errorf("%s", strings.TrimPrefix(err.Error(), "toml: "))
	}
	if un := meta.Undecoded(); len(un) > 0 {
		return Sheet{}, fmt.Errorf("%sthere is no setting %q in a delivery sheet", lineOf(text, un[0]), un[0].String())
	}
	s.fill()
	if key, err := s.check(); err != nil {
		return Sheet{}, fmt.Errorf("%s%w", lineOf(text, key), err)
	}
	return s, nil
}

// fill puts in what a sheet may leave out.
func (s *Sheet) fill() {
	if s.Pixels.Ratio == "" {
		s.Pixels.Ratio = "keep"
	}
	if s.File.Quality == [2]int{} {
		s.File.Quality = [2]int{60, 95}
	}
	if s.File.Good == 0 {
		s.File.Good = max(s.File.Quality[0], min(s.File.Quality[1], 84))
	}
	if s.Set.Names == "" {
		s.Set.Names = "{order}-{room}"
	}
	if s.Title == "" {
		s.Title = s.Name
	}
}

var (
	ratioPattern = regexp.MustCompile(`^([1-9][0-9]?):([1-9][0-9]?)$`)
	namePattern  = regexp.MustCompile(`^[a-z0-9{}-]+$`)
	datePattern  = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)
)

// check returns the first rule that makes no sense, with its key.
func (s *Sheet) check() (toml.Key, error) {
	for _, n := range []struct {
		table, key   string
		value        int
		least, most  int
		what, remedy string
	}{
		{"pixels", "long-edge", s.Pixels.LongEdge, 160, 65535, "pixels", ""},
		{"pixels", "max-width", s.Pixels.MaxWidth, 160, 65535, "pixels", ""},
		{"pixels", "max-height", s.Pixels.MaxHeight, 160, 65535, "pixels", ""},
		{"pixels", "warn-below", s.Pixels.WarnBelow, 1, 65535, "pixels", ""},
		{"file", "max-bytes", s.File.MaxBytes, 20_000, 1 << 30, "bytes", "; write 5 MB as 5_000_000"},
		{"file", "aim-bytes", s.File.AimBytes, 20_000, 1 << 30, "bytes", "; write 2 MB as 2_000_000"},
		{"file", "dpi", s.File.DPI, 1, 2400, "dots per inch", ""},
		{"text", "caption-max", s.Text.CaptionMax, 1, 4000, "characters", ""},
		{"text", "title-max", s.Text.TitleMax, 1, 1000, "characters", ""},
		{"set", "warn-count", s.Set.WarnCount, 1, 9999, "pictures", ""},
		{"set", "max-count", s.Set.MaxCount, 1, 9999, "pictures", ""},
	} {
		if n.value != 0 && (n.value < n.least || n.value > n.most) {
			return toml.Key{n.table, n.key}, fmt.Errorf("%s: %d %s is not between %d and %d%s", n.key, n.value, n.what, n.least, n.most, n.remedy)
		}
	}
	q := s.File.Quality
	switch {
	case q[0] < 1 || q[1] > 100 || q[0] > q[1]:
		return toml.Key{"file", "quality"}, fmt.Errorf("quality: [%d, %d] is not [lowest, highest] within 1 to 100", q[0], q[1])
	case s.File.Good < q[0] || s.File.Good > q[1]:
		return toml.Key{"file", "good"}, fmt.Errorf("good: %d is not within quality [%d, %d]", s.File.Good, q[0], q[1])
	case s.File.MaxBytes != 0 && s.File.AimBytes > s.File.MaxBytes:
		return toml.Key{"file", "aim-bytes"}, fmt.Errorf("aim-bytes: %d is more than max-bytes, %d", s.File.AimBytes, s.File.MaxBytes)
	case !(s.File.Sharpen >= 0 && s.File.Sharpen <= 2):
		return toml.Key{"file", "sharpen"}, fmt.Errorf("sharpen: %g is not between 0 and 2", s.File.Sharpen)
	case s.Pixels.Ratio != "keep" && !ratioPattern.MatchString(s.Pixels.Ratio):
		return toml.Key{"pixels", "ratio"}, fmt.Errorf(`ratio: %q is neither "keep" nor like "4:3"`, s.Pixels.Ratio)
	case s.Date != "" && !datePattern.MatchString(s.Date):
		return toml.Key{"date"}, fmt.Errorf("date: %q is not like 2026-11-25", s.Date)
	case !strings.Contains(s.Set.Names, "{order}"):
		return toml.Key{"set", "names"}, fmt.Errorf("names: %q lacks {order}, so two pictures could get one name", s.Set.Names)
	case !namePattern.MatchString(strings.NewReplacer("{order}", "", "{room}", "").Replace(s.Set.Names) + "-"):
		return toml.Key{"set", "names"}, fmt.Errorf("names: %q may hold {order}, {room}, a-z, 0-9 and hyphens; .jpg is added", s.Set.Names)
	case s.Set.First != "" && s.Set.First != "front":
		return toml.Key{"set", "first"}, fmt.Errorf(`first: %q is neither "front" nor left out`, s.Set.First)
	case s.Set.MaxCount != 0 && s.Set.WarnCount > s.Set.MaxCount:
		return toml.Key{"set", "warn-count"}, fmt.Errorf("warn-count: %d is more than max-count, %d", s.Set.WarnCount, s.Set.MaxCount)
	}
	return nil, nil
}

// lineOf finds the line that sets a key, for messages; empty when it is left out.
func lineOf(text []byte, key toml.Key) string {
	if len(key) == 0 {
		return ""
	}
	table, want := "", strings.Join(key[:len(key)-1], ".")
	for i, l := range strings.Split(string(text), "\n") {
		l = strings.TrimSpace(l)
		if strings.HasPrefix(l, "[") {
			table = strings.Trim(strings.SplitN(l, "]", 2)[0], "[ ")
			if table == key.String() {
				return "line " + strconv.Itoa(i+1) + ": "
			}
			continue
		}
		name, _, ok := strings.Cut(l, "=")
		if ok && table == want && strings.Trim(strings.TrimSpace(name), `"'`) == key[len(key)-1] {
			return "line " + strconv.Itoa(i+1) + ": "
		}
	}
	return ""
}
