package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"mullion/finish"
)

type mergeCmd struct {
	Frames []string `arg:"" name:"frame" help:"The frames of one bracket, in any order."`
	To     string   `required:"" placeholder:"FILE.tif" help:"The TIFF to write: 32-bit float, linear BT.2020, as the camera saw it, not straightened or balanced."`
}

func (c *mergeCmd) Run(ctx context.Context) error {
	if _, err := os.Stat(c.To); err == nil {
		return fmt.Errorf("%s is there already; give another name or move it away", c.To)
	} else if !errors.Is(err, os.ErrNotExist) {
		return err
	}
	scene, err := finish.Merge(ctx, c.Frames, nil)
	if err != nil {
		return err
	}
	for i, f := range scene.Merged.Frames {
		state := "merged"
		if !f.Used {
			state = "left out: " + f.Why
		}
		fmt.Printf("%s  %+.2f EV, moved %.2f, %.2f px and %.3f deg, %s\n", c.Frames[i], f.RefinedEV, f.ShiftX, f.ShiftY, f.RotationDeg, state)
	}
	for _, f := range scene.Findings {
		fmt.Printf("%s: %s\n", f.Severity, f.Message)
	}
	if err := scene.WriteTIFF(ctx, c.To, version); err != nil {
		return err
	}
	fmt.Printf("%s: %.1f EV from clipping to noise\n", c.To, scene.Merged.RangeEV)
	return nil
}
