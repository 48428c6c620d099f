package deliver

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// sweep removes the reduced pictures of earlier pages that these no longer show: a
// view that was left out or renamed must not go out by its small version. Only files
// of the kind that Pages writes are touched.
func sweep(dir string, pics []shown) error {
	keep := map[string]bool{}
	for _, p := range pics {
		for _, s := range append(p.small, p.wide) {
			keep[path.Base(s.href)] = true
			keep[path.Base(s.webp)] = true
		}
	}
	old, err := os.ReadDir(filepath.Join(dir, pagesDir))
	if err != nil {
		return err
	}
	for _, f := range old {
		if keep[f.Name()] || f.IsDir() || !isReduced(f.Name()) {
			continue
		}
		if err := os.Remove(filepath.Join(dir, pagesDir, f.Name())); err != nil {
			return fmt.Errorf("an earlier page's picture can't be removed: %w", err)
		}
	}
	return nil
}

// Withdraw takes a picture that is no longer part of the delivery in dir out of all that
// shows it besides its own file: its reduced versions, and the pages, contact sheets and
// archive, which the next [Pages] and [WriteArchive] make anew without it. file is the
// name its delivered file had.
func Withdraw(dir, file string) error {
	stem := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	old, err := os.ReadDir(filepath.Join(dir, pagesDir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	names := []string{"index.html", BrandedName, contactSheetName, brandedSheetName, ArchiveName}
	for _, f := range old {
		if of := f.Name()[:max(0, strings.LastIndexByte(f.Name(), '-'))]; of == stem && isReduced(f.Name()) {
			names = append(names, filepath.Join(pagesDir, f.Name()))
		}
	}
	for _, n := range names {
		if err := gone(filepath.Join(dir, n)); err != nil {
			return err
		}
	}
	return nil
}

// isReduced reports whether a name is one that Pages gives to a reduced picture.
func isReduced(name string) bool {
	for _, long := range append(smallWidths[:], leadWidth) {
		if strings.HasSuffix(name, fmt.Sprintf("-%d.jpg", long)) || strings.HasSuffix(name, fmt.Sprintf("-%d.webp", long)) {
			return true
		}
	}
	return false
}
