package card

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"mullion/card/disk"
	"mullion/card/natural"
)

// ManifestName is the manifest's name in a folder of originals.
const ManifestName = "manifest"

// Entry is one file of a manifest.
type Entry struct {
	Rel     string // path below the manifest's folder, with forward slashes
	SHA256  string // lower-case hex
	Size    int64
	ModTime time.Time
}

// Manifest lists the files of a folder of originals. On disk it is plain text
// that the common tool sha256sum checks too; size and time stand in a comment
// above each file.
type Manifest struct {
	entries map[string]Entry
}

// Get returns the entry of a path.
func (m *Manifest) Get(rel string) (Entry, bool) {
	e, ok := m.entries[rel]
	return e, ok
}

// Set adds or replaces an entry.
func (m *Manifest) Set(e Entry) {
	if m.entries == nil {
		m.entries = map[string]Entry{}
	}
	m.entries[e.Rel] = e
}

// Entries lists the manifest in natural order.
func (m *Manifest) Entries() []Entry {
	list := make([]Entry, 0, len(m.entries))
	for _, e := range m.entries {
		list = append(list, e)
	}
	slices.SortFunc(list, func(a, b Entry) int { return natural.Compare(a.Rel, b.Rel) })
	return list
}

const manifestHead = "# Mullion manifest 1: what came off the card. Check it from this folder with: sha256sum -c manifest"

// escape is the rule of sha256sum for names with line ends or backslashes.
var escape = strings.NewReplacer("\\", `\\`, "\n", `\n`, "\r", `\r`)

func (m *Manifest) bytes() []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, manifestHead)
	list := m.Entries()
	for _, e := range list {
		fmt.Fprintf(&b, "# %d bytes, %s\n", e.Size, e.ModTime.UTC().Format(time.RFC3339Nano))
		if name := escape.Replace(e.Rel); name != e.Rel {
			fmt.Fprintf(&b, "\\%s  %s\n", e.SHA256, name)
		} else {
			fmt.Fprintf(&b, "%s  %s\n", e.SHA256, e.Rel)
		}
	}
	fmt.Fprintf(&b, "# end: %d files\n", len(list))
	return b.Bytes()
}

// ReadManifest reads the manifest of a folder of originals. A folder without one
// has an empty manifest.
func ReadManifest(dir string) (*Manifest, error) { return readManifest(disk.OS, dir) }

func readManifest(fsys disk.FS, dir string) (*Manifest, error) {
	name := filepath.Join(dir, ManifestName)
	f, err := fsys.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return &Manifest{}, nil
	}
	if err != nil {
		return nil, fileError(name, fmt.Sprintf("the manifest can't be read (%v)", cause(err)), "check the disk", err)
	}
	defer f.Close()
	m, err := parseManifest(f)
	if err != nil {
		return nil, fileError(name, err.Error(), "rename it and copy the card again: files that are there are compared, not copied twice", err)
	}
	return m, nil
}

func parseManifest(r io.Reader) (*Manifest, error) {
	m := &Manifest{}
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	var about Entry
	ended := false
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		if n == 1 && line != manifestHead {
			return nil, errors.New("this is no manifest of a kind this version knows")
		}
		if count, ok := strings.CutPrefix(line, "# end: "); ok {
			ended = true
			if count != fmt.Sprintf("%d files", len(m.entries)) {
				return nil, fmt.Errorf("the manifest lists %d files and says %q", len(m.entries), count)
			}
			continue
		}
		if line == "" || line[0] == '#' {
			about = aboutLine(line)
			continue
		}
		e, err := entryLine(line)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		e.Size, e.ModTime = about.Size, about.ModTime
		m.Set(e)
		about = Entry{}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if !ended {
		return nil, errors.New("the manifest is cut short")
	}
	return m, nil
}

func aboutLine(line string) Entry {
	size, when, ok := strings.Cut(strings.TrimPrefix(line, "# "), " bytes, ")
	if !ok {
		return Entry{Size: -1}
	}
	n, err := strconv.ParseInt(size, 10, 64)
	if err != nil {
		return Entry{Size: -1}
	}
	t, _ := time.Parse(time.RFC3339Nano, when)
	return Entry{Size: n, ModTime: t}
}

func entryLine(line string) (Entry, error) {
	rest, escaped := strings.CutPrefix(line, `\`)
	sum, name, ok := strings.Cut(rest, "  ")
	if !ok || len(sum) != 64 || strings.Trim(sum, "0123456789abcdef") != "" || name == "" {
		return Entry{}, errors.New("a hash and a name were expected")
	}
	if escaped {
		name = unescape(name)
	}
	if !filepath.IsLocal(filepath.FromSlash(name)) {
		return Entry{}, fmt.Errorf("the name %q leaves the folder", name)
	}
	return Entry{Rel: name, SHA256: sum}, nil
}

func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
			switch s[i] {
			case 'n':
				b.WriteByte('\n')
			case 'r':
				b.WriteByte('\r')
			default:
				b.WriteByte(s[i])
			}
			continue
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// saveEvery is how often the manifest is written during a copy. A file that was
// copied since the last time is compared, not lost, when a run is killed.
const saveEvery = 5 * time.Second

type saver struct {
	sync.Mutex
	last  time.Time
	saved bool
}

// save writes the destination's manifest, at most every few seconds unless it is
// the last time.
func (d *destination) save(last bool) error {
	d.saver.Lock()
	defer d.saver.Unlock()
	if !last && d.saver.saved && time.Since(d.saver.last) < saveEvery {
		return nil
	}
	if len(d.manifest.entries) == 0 {
		return nil
	}
	if err := disk.WriteFile(d.fs, filepath.Join(d.dir, ManifestName), d.manifest.bytes()); err != nil {
		return writeError(filepath.Join(d.dir, ManifestName), err)
	}
	d.saver.last, d.saver.saved = time.Now(), true
	return nil
}
