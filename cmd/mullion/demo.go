package main

import (
	"context"
	"fmt"
	"os"

	"mullion/demo"
	"mullion/finish"
)

type demoCmd struct {
	Dir  string `arg:"" help:"The folder to write the card into."`
	JPEG bool   `name:"jpeg" help:"Write the camera's own JPEG beside every raw file."`
}

func (c *demoCmd) Run(ctx context.Context) error {
	p := newProgress(os.Stderr)
	err := demo.Write(ctx, c.Dir, demo.Options{JPEG: c.JPEG}, func(done, total int, what string) {
		p.show(finish.Event{Step: "writing the demo card", Done: done, Total: total})
	})
	p.close()
	if err != nil {
		return err
	}
	fmt.Printf("A card of an invented house is in %s. Finish it with:\n    mullion finish %s --to SHOOT\n", c.Dir, c.Dir)
	return nil
}
