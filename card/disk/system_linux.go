package disk

import (
	"errors"
	"io/fs"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// renameNew uses the kernel's own no-replace rename; file systems that lack it
// (FAT, some network ones) get a check first, which the folder's lock guards.
func renameNew(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ENOTSUP) {
		return checkedRename(from, to)
	}
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}

func checkedRename(from, to string) error {
	if _, err := os.Lstat(to); err == nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: fs.ErrExist}
	}
	return os.Rename(from, to)
}

func forget(f *os.File) error {
	return unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED)
}

func setTime(f *os.File, t time.Time) error {
	ts, err := unix.TimeToTimespec(t)
	if err != nil {
		return err
	}
	return unix.UtimesNanoAt(unix.AT_FDCWD, f.Name(), []unix.Timespec{ts, ts}, 0)
}

func free(name string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(name, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * s.Bsize, nil
}
