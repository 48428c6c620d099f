package main

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"

	"mullion/demo"
	"mullion/finish"
)

// uprights finishes the rendered house as a user would and lets OpenCV's line segment
// detector measure how far its verticals lean in the delivered pictures. The bar is
// 0.15 degrees in each.
func (b *bench) uprights(ctx context.Context) error {
	if b.opencv == nil {
		return nil
	}
	card, shoot := filepath.Join(b.work, "card"), filepath.Join(b.work, "shoot")
	if err := demo.Write(ctx, card, demo.Options{}, nil); err != nil {
		return err
	}
	report, err := finish.Run(ctx, finish.Job{Card: card, Shoot: shoot, Sheets: []string{"print"}, InPlace: true, Version: "quality"})
	if err != nil {
		return err
	}
	args := []string{filepath.Join(filepath.Dir(b.opencv.script), "opencv-uprights.py")}
	for _, v := range report.Views {
		args = append(args, v.Files[0].Path)
	}
	out, err := exec.CommandContext(ctx, b.opencv.python, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("opencv-uprights.py: %w: %s", err, strings.TrimSpace(string(out)))
	}
	fmt.Printf("Verticals of the finished pictures, by OpenCV's detector (%d views; the bar is 0.15)\n", len(report.Views))
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != len(report.Views) {
		return fmt.Errorf("opencv-uprights.py: %d answers for %d pictures", len(lines), len(report.Views))
	}
	for i, v := range report.Views {
		var n int
		var lean float64
		if _, err := fmt.Sscan(lines[i], &n, &lean); err != nil {
			return fmt.Errorf("opencv-uprights.py: %q: %w", lines[i], err)
		}
		note := ""
		if lean > 0.15 {
			note = "  missed"
		}
		fmt.Printf("  %-20s %4d lines, median lean %.3f degrees%s\n", v.ID, n, lean, note)
	}
	fmt.Println(strings.Repeat("-", 60))
	return nil
}
