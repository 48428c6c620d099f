package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"mullion/studio"
	"mullion/who"
)

type studioCmd struct {
	Shoot string `arg:"" optional:"" help:"The shoot's folder. Left out, the first page takes in a card or opens a shoot."`
}

func (c *studioCmd) Run(ctx context.Context) error {
	photographer, err := who.Load()
	if err != nil {
		return err
	}
	licence, err := who.Licence()
	if err != nil {
		return err
	}
	settings, err := who.Path()
	if err != nil {
		return err
	}
	config := filepath.Dir(settings)
	home, err := os.UserHomeDir()
	if err != nil {
		home = ""
	} else {
		home = filepath.Join(home, "shoots")
	}
	s, err := studio.Start(ctx, studio.Options{
		Shoot: c.Shoot, Version: version, Who: photographer, Licence: licence, Keys: config, Config: config, Home: home,
	})
	if err != nil {
		return err
	}
	fmt.Println(s.URL())
	fmt.Fprintln(os.Stderr, "Open this address in a browser on this machine. Stop with Ctrl-C.")
	return s.Serve()
}
