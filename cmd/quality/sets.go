package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"mullion/demo"
	"mullion/simcam"
)

// set is one bracket to be measured.
type set struct {
	name   string
	paths  []string // what Mullion gets
	shown  []string // display files of the same frames, for the libraries
	again  []string // the same frames with other noise, for the noise's measure
	moving bool
	truth  *truth
}

// houseSets photographs the rendered house: raw files, and the camera's JPEGs
// beside them.
func houseSets(ctx context.Context, dir, data, only string) ([]set, error) {
	var out []set
	for i, v := range demo.Views() {
		if !strings.Contains("house "+v.Name, only) {
			continue
		}
		s := set{name: "house " + v.Name, moving: len(v.Files) > 1}
		for seed, to := range []*[]string{&s.paths, &s.again} {
			settings := simcam.Defaults()
			settings.JPEG, settings.First = seed == 0, 1+10*i
			settings.Seed += uint64(seed)
			card := filepath.Join(dir, fmt.Sprintf("%s-%d", v.Name, seed))
			shots, err := simcam.LF1().Shoot(ctx, card, []simcam.View{v.Scene()}, settings, nil)
			if err != nil {
				return nil, err
			}
			for _, f := range shots {
				path := filepath.Join(card, filepath.FromSlash(simcam.Folder), f.File)
				*to = append(*to, path)
				if seed == 0 {
					s.shown = append(s.shown, strings.TrimSuffix(path, ".DNG")+".JPG")
				}
			}
		}
		var err error
		if s.truth, err = loadTruth(ctx, v, filepath.Join(data, "demo-house")); err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// realSets are the brackets below realdata/brackets: every folder with pictures.
// Those from a hand are left out, since the measures compare pixel by pixel with
// unmoved frames.
func realSets(data string) ([]set, error) {
	root := filepath.Join(data, "realdata", "brackets")
	byDir := map[string][]string{}
	err := filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch strings.ToLower(filepath.Ext(path)) {
		case ".jpg", ".jpeg", ".png":
			byDir[filepath.Dir(path)] = append(byDir[filepath.Dir(path)], path)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var out []set
	for dir, files := range byDir {
		name, _ := filepath.Rel(root, dir)
		if len(files) < 2 || strings.Contains(name, "handheld") {
			continue
		}
		slices.Sort(files)
		out = append(out, set{name: filepath.ToSlash(name), paths: files, shown: files})
	}
	slices.SortFunc(out, func(a, b set) int { return strings.Compare(a.name, b.name) })
	return out, nil
}
