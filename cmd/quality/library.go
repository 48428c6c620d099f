package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"mullion/internal/raster"
)

// library runs OpenCV through its Python binding.
type library struct{ python, script string }

var errNoLibrary = errors.New("OpenCV's rows are left out: they need /usr/bin/python3 with the package python3-opencv (apt-get install python3-opencv)")

func findLibrary() (*library, error) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import cv2").Run() != nil {
		return nil, errNoLibrary
	}
	for _, s := range []string{"scripts/opencv-rows.py", "../../scripts/opencv-rows.py"} {
		if _, err := os.Stat(s); err == nil {
			return &library{python, s}, nil
		}
	}
	return nil, errors.New("OpenCV's rows are left out: scripts/opencv-rows.py is not here; run this from the project's folder")
}

// libraryRows are the pictures that the script writes, by the name of their file.
var libraryRows = []struct{ file, name string }{
	{"mertens", "OpenCV AlignMTB + Mertens"},
	{"levels", "  the same + levels"},
	{"gamma", "OpenCV Debevec + gamma"},
	{"drago", "OpenCV Debevec + Drago"},
	{"reinhard", "OpenCV Debevec + Reinhard"},
	{"mantiuk", "OpenCV Debevec + Mantiuk"},
}

// fuse hands the display files and their relative exposure times to OpenCV; its
// pictures appear in dir.
func (l *library) fuse(ctx context.Context, dir string, files []string, seconds []float64) error {
	args := []string{l.script, dir}
	for i, f := range files {
		args = append(args, strconv.FormatFloat(seconds[i], 'g', 9, 64), f)
	}
	if out, err := exec.CommandContext(ctx, l.python, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("opencv-rows.py: %w: %s", err, strings.TrimSpace(string(out)))
	}
	return nil
}

// merged is OpenCV's merge (Debevec & Malik 1997), linear RGB with sRGB primaries.
func (l *library) merged(dir string) (*raster.RGB, error) {
	return readPFM(filepath.Join(dir, "debevec.pfm"))
}
