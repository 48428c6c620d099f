//go:build unix

package proof

import (
	"os"
	"syscall"
)

// deviceOf is the disk a folder lies on.
func deviceOf(dir string) (uint64, bool) {
	info, err := os.Stat(dir)
	if err != nil {
		return 0, false
	}
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return uint64(s.Dev), true
}
