package studio

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"mullion/card/disk"
	"mullion/check"
	"mullion/finding"
	"mullion/finish"
	"mullion/shoot"
)

// originals is the folder of the copied files within a shoot; see [shoot.Shoot.Originals].
const originals = "originals"

// checked is what package check says about the shoot's originals. It lies in the cache
// as the accounts of runs do, and is found anew when it is gone.
type checked struct {
	Key   string                       `json:"key"`   // of the frames and the program it was found with
	Views map[string][]finding.Finding `json:"views"` // by the shoot's own IDs
	Shoot []finding.Finding            `json:"shoot"` // about no single view
}

// checking is the check of a house: whether every bracket is complete, sharp and exposed.
type checking struct {
	mu     sync.Mutex
	key    string // of what is being checked or was
	cancel context.CancelFunc
	state  checkState
	found  *checked // nil until it is known
}

// checkState is what pages are told of a check.
type checkState struct {
	State string `json:"state"` // "running", "failed", or empty: there is nothing to wait for
	Done  int    `json:"done"`
	Total int    `json:"total"`
	Error string `json:"error,omitempty"`
}

// look is the state of the check and what it has found.
func (c *checking) look() (checkState, *checked) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.state, c.found
}

func (c *checking) stop() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cancel != nil {
		c.cancel()
	}
}

// check has a house checked in the background, unless these very frames were.
func (s *Server) check(h *house) {
	d, err := h.doc()
	if err != nil || s.base.Err() != nil {
		return
	}
	key := checkKey(d, s.opt.Version)
	c := &h.checking
	c.mu.Lock()
	defer c.mu.Unlock()
	if key == "" || key == c.key {
		return
	}
	if c.cancel != nil {
		c.cancel()
	}
	c.key, c.cancel, c.state = key, nil, checkState{}
	if c.found = readChecked(h.dir, key); c.found != nil {
		return
	}
	ctx, cancel := context.WithCancel(s.base)
	c.cancel, c.state = cancel, checkState{State: "running", Total: len(d.Views)}
	s.behind.Go(func() {
		defer cancel()
		s.checkNow(ctx, h, key)
	})
}

// checkNow checks a house and keeps what was found, unless it is stopped.
func (s *Server) checkNow(ctx context.Context, h *house, key string) {
	c := &h.checking
	found, err := s.findings(ctx, h, key)
	if err == nil && ctx.Err() == nil {
		_ = found.write(h.dir) // before anybody is told; what can't be kept is found again next time
	}
	c.mu.Lock()
	if c.key != key || ctx.Err() != nil {
		if c.key == key {
			c.key, c.state = "", checkState{}
		}
		c.mu.Unlock()
		return
	}
	c.cancel, c.found, c.state = nil, found, checkState{}
	if err != nil {
		c.state = checkState{State: "failed", Error: err.Error()}
	}
	c.mu.Unlock()
	s.hub.tell(event{Kind: "check", State: "done"})
}

// source is where frames of a shoot lie: the folder of the copies, or one above all those
// that were left in place.
type source struct {
	root   string
	frames []string // that are to be checked; none for all in the folder
}

// sources are where the frames of a shoot in the folder dir lie.
func sources(d *shoot.Doc, dir string) (out []source) {
	var left []string
	copied := false
	for _, v := range d.Views {
		for _, f := range v.Frames {
			if filepath.IsAbs(f.Path) {
				left = append(left, f.Path)
			} else {
				copied = copied || strings.HasPrefix(f.Path, originals+"/")
			}
		}
	}
	if copied {
		out = append(out, source{root: filepath.Join(dir, originals)})
	}
	if len(left) > 0 {
		slices.Sort(left)
		out = append(out, source{above(left), left})
	}
	return out
}

// above is the folder that all of these files lie in or below.
func above(paths []string) string {
	dir := filepath.Dir(paths[0])
	for _, p := range paths {
		for {
			rel, err := filepath.Rel(dir, p)
			if err == nil && filepath.IsLocal(rel) || dir == filepath.Dir(dir) {
				break
			}
			dir = filepath.Dir(dir)
		}
	}
	return dir
}

// gone says whether frames were left in place and none of them is there any more.
func (s source) gone() bool {
	return len(s.frames) > 0 && !slices.ContainsFunc(s.frames, func(p string) bool {
		_, err := os.Stat(p)
		return err == nil
	})
}

// findings runs the check, one view after the other. Before each it lets those go first
// who want a run or a picture.
func (s *Server) findings(ctx context.Context, h *house, key string) (*checked, error) {
	c, done := &h.checking, 0
	if err := s.letGo(ctx); err != nil {
		return nil, err
	}
	seen := func(*check.View) {
		done++
		c.mu.Lock()
		if c.key == key {
			c.state.Done, c.state.Total = done, max(done, c.state.Total)
		}
		state := c.state
		c.mu.Unlock()
		s.hub.tell(event{Kind: "check", State: "running", Done: state.Done, Total: state.Total})
		_ = s.letGo(ctx) // the check itself looks whether it is to go on
	}
	d, err := h.doc()
	if err != nil {
		return nil, err
	}
	out := &checked{Key: key, Views: map[string][]finding.Finding{}}
	for _, from := range sources(d, h.dir) {
		if from.gone() {
			return nil, fmt.Errorf("the originals are not in %s any more, where they were left; connect the card or the disk and open the shoot again", from.root)
		}
		r, err := check.Run(ctx, from.root, check.Options{Version: s.opt.Version, View: seen, Frames: from.frames})
		if err != nil {
			return nil, err
		}
		if d, err = h.doc(); err != nil { // as it is by now
			return nil, err
		}
		out.adopt(d, r, h.dir, from.root)
	}
	return out, nil
}

// letGo waits until no run is under way and nobody waits for a picture.
func (s *Server) letGo(ctx context.Context) error {
	for s.job.runs() {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(200 * time.Millisecond):
		}
	}
	_, err := patiently(ctx, func() ([]byte, error) { return nil, nil })
	return err
}

// checkKey names what a check depends on: the frames, as they are grouped, and the program.
// It is empty when there are none.
func checkKey(d *shoot.Doc, version string) string {
	var frames []shoot.Frame
	for _, v := range d.Views {
		frames = append(frames, v.Frames...)
		frames = append(frames, shoot.Frame{}) // where a view ends
	}
	if len(frames) == len(d.Views) {
		return ""
	}
	key, err := shoot.Key(frames, nil, "check", version)
	if err != nil {
		return ""
	}
	return key
}

// adopt gives the findings of a check of the folder root to the views of the shoot in the
// folder dir. A check groups the files by itself and counts its views in its own way: a
// view of it is the one that it shares most frames with, and where findings name a view or
// a frame by number they are told anew.
func (c *checked) adopt(d *shoot.Doc, r *check.Report, dir, root string) {
	type place struct {
		view  string
		frame int
	}
	at := map[string]place{}
	for _, v := range d.Views {
		for i, f := range v.Frames {
			path := filepath.FromSlash(f.Path)
			if !filepath.IsAbs(path) {
				path = filepath.Join(dir, path)
			}
			at[path] = place{v.ID, i}
		}
	}
	of := func(f finish.FrameReport) place { return at[filepath.Join(root, filepath.FromSlash(f.File))] }
	ids, names := make([]string, len(r.Views)), []string{}
	for i, v := range r.Views {
		shared := map[string]int{}
		for _, f := range v.Frames {
			if id := of(f).view; id != "" {
				if shared[id]++; shared[id] > shared[ids[i]] {
					ids[i] = id
				}
			}
		}
		if ids[i] != "" {
			names = append(names, v.ID, ids[i])
		}
	}
	renamed := strings.NewReplacer(names...)
	c.Shoot = append(c.Shoot, r.Findings...)
	for i, v := range r.Views {
		for _, f := range v.Findings {
			if ids[i] == "" {
				continue // a covered lens between two rooms
			}
			f.Message = renamed.Replace(f.Message)
			if n := int(f.Value); f.Unit == "frame" && n >= 1 && n <= len(v.Frames) {
				f.Value = float64(of(v.Frames[n-1]).frame + 1)
			}
			c.Views[ids[i]] = append(c.Views[ids[i]], f)
		}
	}
}

func checkedPath(dir string) string { return filepath.Join(dir, "cache", "check.json") }

// readChecked is what is kept of a check, nil when it is of other frames or not there.
func readChecked(dir, key string) *checked {
	b, err := os.ReadFile(checkedPath(dir))
	var c checked
	if err != nil || json.Unmarshal(b, &c) != nil || c.Key != key {
		return nil
	}
	return &c
}

func (c *checked) write(dir string) error {
	b, err := json.Marshal(c)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(checkedPath(dir)), 0o755); err != nil {
		return err
	}
	return disk.WriteFile(disk.OS, checkedPath(dir), b)
}

// says is what the check found about a view, nil as long as it isn't known.
func (c *checked) says(id string) []finding.Finding {
	if c == nil {
		return nil
	}
	return c.Views[id]
}

// card is what asks for something and is about no single view.
func (c *checked) card() (out []string) {
	if c == nil {
		return nil
	}
	for _, f := range c.Shoot {
		if f.Severity != finding.Note {
			out = append(out, f.Message)
		}
	}
	return out
}

// instead are the kinds that say less of the same thing than a check's does.
var instead = map[string]string{
	"bracket-incomplete": "frame-missing", "window-clipped": "highlights-clipped", "sky-clipped": "highlights-clipped", "shadows-drown": "shadows-noisy",
}

// together joins what was said about a finished view with what the check says about its
// frames. What both say is said once. What the finishing has dealt with (a leaning camera,
// a wrong setting, a little movement) is for the record and needs no look any more; what
// is to be shot again stays so.
func together(list, checked []finding.Finding, r finish.ViewReport, d shoot.Decisions) []finding.Finding {
	has := map[string]bool{}
	for _, f := range list {
		has[f.Code] = true
	}
	dealt := map[string]bool{
		"tilt": r.Plumb.Confidence >= sure || d.Level != nil, "white-balance": r.Light.Confidence >= sure || d.RoomWarmth != nil,
		"dust": has["dust-mended"], "camera-moved": true,
	}
	drop := map[string]bool{}
	var more []finding.Finding
	for _, f := range checked {
		if has[f.Code] {
			continue
		}
		if f.Severity == finding.Look && dealt[f.Code] {
			f.Severity = finding.Note
		}
		if f.Severity != finding.Note {
			drop[instead[f.Code]] = true
		}
		more = append(more, f)
	}
	var out []finding.Finding
	for _, f := range list {
		if !drop[f.Code] {
			out = append(out, f)
		}
	}
	return append(out, more...)
}

// Words says how far a check is.
func (c checkState) Words() string {
	switch {
	case c.State == "running" && c.Done > 0:
		return fmt.Sprintf("Looking whether every bracket is complete, sharp and exposed: %d of %d.", c.Done, c.Total)
	case c.State == "running":
		return "Looking whether every bracket is complete, sharp and exposed."
	case c.State == "failed":
		return "The brackets could not be checked: " + c.Error + "."
	}
	return ""
}
