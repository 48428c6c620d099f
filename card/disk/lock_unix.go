//go:build unix

package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

func lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return ErrLocked
	}
	if unsupported(err) {
		return nil // a file system without locks: nothing to hold on to
	}
	return err
}

func unsupported(err error) bool {
	return errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.ENOSYS)
}

// Full reports whether an error means that a disk or a quota is full.
func Full(err error) bool { return errors.Is(err, unix.ENOSPC) || errors.Is(err, unix.EDQUOT) }

// Gone reports whether an error means that the medium itself went away.
func Gone(err error) bool {
	return errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ENXIO) || errors.Is(err, unix.ESTALE)
}

// ReadOnly reports whether an error means that nothing may be written there.
func ReadOnly(err error) bool {
	return errors.Is(err, unix.EROFS) || errors.Is(err, unix.EACCES) || errors.Is(err, unix.EPERM)
}
