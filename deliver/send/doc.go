// Package send brings a delivery to where it is wanted: a folder, an SFTP server or a
// WebDAV server. A file counts only after it was read back and its size and SHA-256
// are those of the file here; until then it lies there under a hidden name, and a
// later run carries on with it. The signature of the edit record goes last, so that a
// place without one holds no whole delivery.
//
// A host is believed only by its key in the known_hosts file, or by a certificate that
// the system trusts. Passwords are asked for by the caller; none is ever part of an
// address.
package send

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"path/filepath"
	"strings"
)

// Store is a place that files can be sent to. Paths are slashed and below the place.
// A file that isn't there gives an error that is fs.ErrNotExist.
type Store interface {
	// Size returns a file's bytes.
	Size(ctx context.Context, path string) (int64, error)
	Open(ctx context.Context, path string) (io.ReadCloser, error)
	// Write writes the n bytes of r to the file from byte at on; at is 0 or, where
	// CanAppend says so, the file's size. Folders are made.
	Write(ctx context.Context, path string, at int64, r io.Reader, n int64) error
	CanAppend() bool
	// Rename puts a file in the place of another.
	Rename(ctx context.Context, from, to string) error
	Remove(ctx context.Context, path string) error
	Close() error
}

// Access is what opening a place may need.
type Access struct {
	// Password returns the password of a user at a host; it is asked only when the
	// place wants one. nil: there is none.
	Password   func(user, host string) (string, error)
	KeyFiles   []string // private keys for SFTP, besides those of the agent
	KnownHosts string   // the known_hosts file; the user's own when empty
}

// ErrAddress is the error for an address that can't be used.
var ErrAddress = errors.New("address")

// Open opens a place: a folder, sftp://user@host[:port]/path, or
// webdavs://user@host[:port]/path (webdav:// without encryption on this machine only).
// A path after the host that starts with /~/ is below the user's home.
func Open(ctx context.Context, place string, access Access) (Store, error) {
	u, err := parse(place)
	if err != nil {
		return nil, err
	}
	if u == nil {
		return openFolder(place)
	}
	switch u.Scheme {
	case "sftp":
		return openSFTP(ctx, u, access)
	}
	return openWebDAV(ctx, u, access)
}

// CheckAddress tells, without opening a place, whether its address can be used.
func CheckAddress(place string) error {
	_, err := parse(place)
	return err
}

// parse returns an address's parts, or nil for a folder.
func parse(place string) (*url.URL, error) {
	_, _, remote := strings.Cut(place, "://")
	if !remote {
		return nil, nil
	}
	u, err := url.Parse(place)
	if err != nil || u.Host == "" {
		return nil, fmt.Errorf("%w: this is not like sftp://name@host/folder", ErrAddress)
	}
	if _, ok := u.User.Password(); ok {
		return nil, fmt.Errorf("%w: leave the password out of it; everybody on this machine could read it there", ErrAddress)
	}
	switch u.Scheme {
	case "sftp", "webdavs", "https":
		return u, nil
	case "webdav", "http":
		if !loopback(u.Hostname()) {
			return nil, fmt.Errorf("%w: %s:// is not encrypted; use webdavs://", ErrAddress, u.Scheme)
		}
		return u, nil
	}
	return nil, fmt.Errorf("%w: nothing is known about %s://; there are sftp:// and webdavs://, or name a folder", ErrAddress, u.Scheme)
}

// Plain is an address as it may be shown and kept: without a password.
func Plain(place string) string {
	if u, err := url.Parse(place); err == nil && strings.Contains(place, "://") {
		return u.Redacted()
	}
	if abs, err := filepath.Abs(place); err == nil {
		return abs
	}
	return place
}

func missing(err error) bool { return errors.Is(err, fs.ErrNotExist) }
