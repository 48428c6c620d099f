package deliver

import (
	"fmt"
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

// isReduced reports whether a name is one that Pages gives to a reduced picture.
func isReduced(name string) bool {
	for _, long := range append(smallWidths[:], leadWidth) {
		if strings.HasSuffix(name, fmt.Sprintf("-%d.jpg", long)) || strings.HasSuffix(name, fmt.Sprintf("-%d.webp", long)) {
			return true
		}
	}
	return false
}
