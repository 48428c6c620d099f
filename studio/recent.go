package studio

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"slices"

	"mullion/card/disk"
	"mullion/finish"
	"mullion/shoot"
)

// recentName is the file in the configuration folder that lists the shoots that were
// opened last.
const recentName = "recent-shoots.json"

const recentMax = 12

// remember puts a shoot at the head of the list. The list is a convenience: a folder
// that can't be written is no fault.
func (s *Server) remember(dir string) {
	if s.opt.Config == "" {
		return
	}
	list := append([]string{dir}, slices.DeleteFunc(s.listed(), func(d string) bool { return d == dir })...)
	b, err := json.MarshalIndent(list[:min(len(list), recentMax)], "", " ")
	if err != nil || os.MkdirAll(s.opt.Config, 0o700) != nil {
		return
	}
	_ = disk.WriteFile(disk.OS, filepath.Join(s.opt.Config, recentName), append(b, '\n'))
}

func (s *Server) listed() []string {
	if s.opt.Config == "" {
		return nil
	}
	b, err := os.ReadFile(filepath.Join(s.opt.Config, recentName))
	var list []string
	if err != nil || json.Unmarshal(b, &list) != nil {
		return nil
	}
	return list
}

// recentShoot is one line of the start page.
type recentShoot struct {
	Dir, Title, When string
	Views            int
	Cover            string // address of its first picture; empty without one
}

// recent lists the shoots that are still there.
func (s *Server) recent() []recentShoot {
	var out []recentShoot
	for _, dir := range s.listed() {
		d, err := shoot.Read(dir)
		if err != nil {
			continue
		}
		one := recentShoot{Dir: dir, Title: title(dir), When: d.Created.Local().Format("2 January 2006"), Views: len(d.Views)}
		if v := first(d); v != nil && finish.NewPreviews(dir, 0).Cached(*v) != nil {
			one.Cover = "/cover/" + finish.LookKey(*v, d.Views)
		}
		out = append(out, one)
	}
	return out
}

// first is the view that stands first in the walk, nil without any.
func first(d *shoot.Doc) *shoot.View {
	if views := inOrder(d); len(views) > 0 {
		return &views[0]
	}
	return nil
}

// cover sends the first picture of one of the shoots that were opened last.
func (s *Server) cover(w http.ResponseWriter, r *http.Request) error {
	for _, dir := range s.listed() {
		d, err := shoot.Read(dir)
		if err != nil {
			continue
		}
		if v := first(d); v != nil && finish.LookKey(*v, d.Views) == r.PathValue("key") {
			if b := finish.NewPreviews(dir, 0).Cached(*v); b != nil {
				return picture(w, b)
			}
		}
	}
	return fault{http.StatusNotFound, "there is no such shoot among those opened last"}
}
