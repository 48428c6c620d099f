// Package proof answers the one question before a card is formatted: does every file on
// it lie, whole, in every place it was copied to?
//
// It believes nothing that was said before. Every copy is read from its medium again
// and compared with its manifest, every file of the card is read from the card again,
// and a file is proved only when a sound copy with its very contents lies in each
// place. Names don't matter, contents do. The card is only read.
package proof

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"mullion/card"
	"mullion/card/natural"
	"mullion/metadata"

	"slices"
)

// Place is one folder of copies and what was found in it.
type Place struct {
	Dir     string
	Files   []card.Verified
	Sound   int   // files that read back as they came off the card
	Damaged int   // missing, changed or unreadable
	Extra   int   // pictures that the manifest doesn't list
	Err     error // why the place as a whole can't be checked

	sums map[string]string // SHA-256 of sound files -> path below Dir
}

// Whole reports whether everything the manifest lists is sound.
func (p *Place) Whole() bool { return p.Err == nil && p.Damaged == 0 && p.Sound > 0 }

// State says how a file of the card stands.
type State int

// The states of a file on the card.
const (
	Proved     State = iota // a sound copy in every place
	NotCopied               // missing in at least one place
	Unreadable              // the card doesn't give it back
	Waived                  // not copied, and the photographer said it isn't needed
)

func (s State) String() string {
	return [...]string{"proved", "not copied", "unreadable", "not needed"}[s]
}

// File is one file of the card.
type File struct {
	Rel    string // path on the card, with forward slashes
	Size   int64
	SHA256 string
	State  State
	Copies []string // where its copies lie, one a place; empty where there is none
	Err    error
}

// Proof is the whole answer.
type Proof struct {
	Card   string // empty when no card was given
	Places []*Place
	Files  []File
	Notes  []string // what a careful person should know besides
	err    error
}

// Safe reports whether the card may be formatted: it was read, it has files, every one
// of them is proved or was waived, and every place is whole.
func (p *Proof) Safe() bool {
	if p.Card == "" || p.err != nil || len(p.Places) == 0 {
		return false
	}
	for _, place := range p.Places {
		if !place.Whole() {
			return false
		}
	}
	proved := 0
	for _, f := range p.Files {
		switch f.State {
		case Proved:
			proved++
		case Waived:
		default:
			return false
		}
	}
	return proved > 0
}

// Whole reports whether every place is.
func (p *Proof) Whole() bool {
	for _, place := range p.Places {
		if !place.Whole() {
			return false
		}
	}
	return len(p.Places) > 0
}

// Originals is the folder of copies of a shoot: the folder itself when it has a
// manifest.
func Originals(shoot string) string {
	if _, err := os.Stat(filepath.Join(shoot, card.ManifestName)); err == nil {
		return shoot
	}
	return filepath.Join(shoot, "originals")
}

// Options say what is to be proved.
type Options struct {
	Card   string   // the card; empty to check the copies alone
	Waived []string // patterns (path.Match, by name or path) of files on the card that need no copy
	// Progress is told after every file how many are done; it may be nil.
	Progress func(step string, done, total int)
}

// Check reads all copies in the given folders again and, with a card, all files of the
// card. The error is the context's, or about the card as a whole; what is wrong with a
// place or a file stands in the proof.
func Check(ctx context.Context, dirs []string, opt Options) (*Proof, error) {
	p := &Proof{Card: opt.Card}
	for _, dir := range dirs {
		place, err := readPlace(ctx, dir)
		if err != nil {
			return p, err
		}
		p.Places = append(p.Places, place)
	}
	if opt.Card == "" {
		return p, nil
	}
	if p.err = p.apart(dirs); p.err != nil {
		return p, p.err
	}
	p.err = p.readCard(ctx, opt)
	p.near(dirs)
	return p, p.err
}

func readPlace(ctx context.Context, dir string) (*Place, error) {
	p := &Place{Dir: dir, sums: map[string]string{}}
	list, err := card.Verify(ctx, dir)
	if ctx.Err() != nil {
		return p, ctx.Err()
	}
	p.Files, p.Err = list, err
	for _, f := range list {
		switch f.State {
		case card.Sound:
			p.Sound++
			p.sums[f.SHA256] = f.Rel
		case card.Unlisted:
			p.Extra++
		default:
			p.Damaged++
		}
	}
	return p, nil
}

// apart refuses copies that lie on the card or the other way round: formatting would
// take both.
func (p *Proof) apart(dirs []string) error {
	c, err := real(p.Card)
	if err != nil {
		return fail(p.Card, "the card can't be found", "put it into its reader", err)
	}
	var seen []string
	for _, dir := range dirs {
		d, err := real(dir)
		if err != nil {
			continue // the place says so itself
		}
		if within(c, d) || within(d, c) {
			return fail(dir, "these copies lie on the card itself", "copy the card to another disk", nil)
		}
		if slices.Contains(seen, d) {
			return fail(dir, "this place is named twice", "name two different folders, best on two disks", nil)
		}
		seen = append(seen, d)
	}
	return nil
}

func real(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(abs)
}

func within(outer, inner string) bool {
	rel, err := filepath.Rel(outer, inner)
	return err == nil && (rel == "." || filepath.IsLocal(rel))
}

func fail(what, problem, advice string, err error) error {
	return &metadata.FileError{Path: what, Problem: problem, Advice: advice, Err: err}
}

// readCard walks the whole card, not only what a camera calls a picture: whoever formats
// it loses films and notes too.
func (p *Proof) readCard(ctx context.Context, opt Options) error {
	names, err := walk(ctx, p.Card)
	if err != nil {
		return err
	}
	if len(names) == 0 {
		return fail(p.Card, "there are no files on it", "name the card, or the folder the pictures are in", nil)
	}
	for i, rel := range names {
		f := File{Rel: rel, Copies: make([]string, len(p.Places))}
		f.SHA256, f.Size, f.Err = card.Sum(ctx, filepath.Join(p.Card, filepath.FromSlash(rel)))
		if ctx.Err() != nil {
			return ctx.Err()
		}
		p.judge(&f, opt.Waived)
		p.Files = append(p.Files, f)
		if opt.Progress != nil {
			opt.Progress("reading the card", i+1, len(names))
		}
	}
	return nil
}

func (p *Proof) judge(f *File, waived []string) {
	if f.Err != nil {
		f.State = Unreadable
		return
	}
	for i, place := range p.Places {
		if rel, ok := place.sums[f.SHA256]; ok {
			f.Copies[i] = rel
		} else {
			f.State = NotCopied
		}
	}
	if f.State == NotCopied && (matches(f.Rel, waived) || p.ours(f.Rel)) {
		f.State = Waived
	}
}

// ours is true of the label that "mullion demo" puts on the card it writes, told by its
// words: without it a demo card could never be called safe.
func (p *Proof) ours(rel string) bool {
	if rel != "DEMO-CARD.txt" {
		return false
	}
	text, err := os.ReadFile(filepath.Join(p.Card, rel))
	return err == nil && strings.HasPrefix(string(text), "This folder was written by \"mullion demo\"") && len(text) < 400
}

func matches(rel string, patterns []string) bool {
	for _, p := range patterns {
		for _, name := range []string{rel, path.Base(rel)} {
			if ok, _ := path.Match(p, name); ok {
				return true
			}
		}
	}
	return false
}

// computersOwn are folders that computers, not cameras or people, leave on cards.
var computersOwn = map[string]bool{"system volume information": true, "$recycle.bin": true, "recycler": true, "lost+found": true, "lost.dir": true}

// walk lists every file of a card in natural order. Hidden files (a leading dot) are the
// computer's own notes.
func walk(ctx context.Context, root string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			return fail(name, "it can't be read", "put the card in again or try another reader; nothing is proved until all of it can be read", err)
		case name == root:
			return nil
		case strings.HasPrefix(d.Name(), "."), d.IsDir() && computersOwn[strings.ToLower(d.Name())]:
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		case d.IsDir():
			return nil
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		if d.Type()&fs.ModeSymlink != 0 {
			if to, err := os.Stat(name); err == nil && to.IsDir() {
				return fail(name, "it is a link to a folder, so this is no camera's card", "name the folder it leads to", nil)
			}
		}
		out = append(out, filepath.ToSlash(rel))
		return nil
	})
	slices.SortFunc(out, natural.Compare)
	return out, err
}

// near notes what makes copies less safe than they look.
func (p *Proof) near(dirs []string) {
	device := map[uint64]string{}
	cardDevice, known := deviceOf(p.Card)
	for _, dir := range dirs {
		d, ok := deviceOf(dir)
		if !ok {
			continue
		}
		if known && d == cardDevice {
			p.Notes = append(p.Notes, fmt.Sprintf("%s and %s lie on the same disk: what was checked is a folder, not a card of its own. Format only the card.", p.Card, dir))
		}
		if other, ok := device[d]; ok {
			p.Notes = append(p.Notes, fmt.Sprintf("%s and %s lie on the same disk, which counts as one copy if that disk fails.", other, dir))
		}
		device[d] = dir
	}
	if len(dirs) == 1 {
		p.Notes = append(p.Notes, "There is one copy only. Two on different disks are the usual caution before a card is formatted.")
	}
}

var errNothing = errors.New("nothing to verify")

// Err is nil when every place is whole, and otherwise the errors.
func (p *Proof) Err() error {
	if len(p.Places) == 0 {
		return errNothing
	}
	var errs []error
	for _, place := range p.Places {
		errs = append(errs, place.Err)
		for _, f := range place.Files {
			if f.State != card.Sound && f.State != card.Unlisted {
				errs = append(errs, f.Err)
			}
		}
	}
	return errors.Join(errs...)
}
