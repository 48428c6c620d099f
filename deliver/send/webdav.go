package send

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"path"
	"time"

	"github.com/studio-b12/gowebdav"
)

type davStore struct {
	c    *gowebdav.Client
	base string
}

// openWebDAV logs in before anything is sent. Of the ways to log in only those that
// talk to the host itself are taken: basic, over an encrypted line, and digest.
func openWebDAV(ctx context.Context, u *url.URL, access Access) (Store, error) {
	safe := u.Scheme == "webdavs" || u.Scheme == "https"
	root := url.URL{Scheme: "https", Host: u.Host}
	if !safe {
		root.Scheme = "http"
	}
	auth := gowebdav.NewEmptyAuth()
	if name := u.User.Username(); name != "" && access.Password != nil {
		secret, err := access.Password(name, u.Hostname())
		if err != nil {
			return nil, err
		}
		auth.AddAuthenticator("basic", func(*http.Client, *http.Response, string) (gowebdav.Authenticator, error) {
			return davBasic{name, secret}, nil
		})
		auth.AddAuthenticator("digest", func(_ *http.Client, rs *http.Response, _ string) (gowebdav.Authenticator, error) {
			return gowebdav.NewDigestAuth(name, secret, rs)
		})
	}
	c := gowebdav.NewAuthClient(root.String(), auth)
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.ResponseHeaderTimeout = 2 * time.Minute
	c.SetTransport(bound{ctx, transport})
	if err := c.Connect(); err != nil {
		return nil, fmt.Errorf("%s: %w", u.Host, err)
	}
	base := path.Join("/", u.Path)
	if err := c.MkdirAll(base, 0o755); err != nil {
		return nil, fmt.Errorf("%s: the folder can't be made: %w", u.Host, err)
	}
	return &davStore{c, base}, nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// davBasic is basic authentication, which a redirection to another host does not get.
type davBasic struct{ name, secret string }

func (b davBasic) Authorize(_ *http.Client, rq *http.Request, _ string) error {
	rq.SetBasicAuth(b.name, b.secret)
	return nil
}

func (b davBasic) Verify(_ *http.Client, rs *http.Response, p string) (bool, error) {
	if rs.StatusCode == http.StatusUnauthorized {
		return false, gowebdav.NewPathError("log in", p, rs.StatusCode)
	}
	return false, nil
}

func (b davBasic) Clone() gowebdav.Authenticator { return b }
func (b davBasic) Close() error                  { return nil }

// bound ends every request with the context.
type bound struct {
	ctx context.Context
	to  http.RoundTripper
}

func (b bound) RoundTrip(r *http.Request) (*http.Response, error) {
	return b.to.RoundTrip(r.WithContext(b.ctx))
}

func (d *davStore) at(p string) string { return path.Join(d.base, p) }

// notThere makes the library's "404" the error that everybody knows.
func notThere(err error) error {
	if err != nil && (gowebdav.IsErrNotFound(err) || gowebdav.IsErrCode(err, http.StatusGone)) {
		return errors.Join(fs.ErrNotExist, err)
	}
	return err
}

func (d *davStore) Size(_ context.Context, p string) (int64, error) {
	info, err := d.c.Stat(d.at(p))
	if err != nil {
		return 0, notThere(err)
	}
	return info.Size(), nil
}

func (d *davStore) Open(_ context.Context, p string) (io.ReadCloser, error) {
	r, err := d.c.ReadStream(d.at(p))
	return r, notThere(err)
}

func (d *davStore) Write(_ context.Context, p string, _ int64, r io.Reader, n int64) error {
	if err := d.c.MkdirAll(path.Dir(d.at(p)), 0o755); err != nil {
		return err
	}
	return d.c.WriteStreamWithLength(d.at(p), r, n, 0o644)
}

// CanAppend is false: WebDAV has no way to add to a file that every server knows.
func (d *davStore) CanAppend() bool { return false }

func (d *davStore) Rename(_ context.Context, from, to string) error {
	return d.c.Rename(d.at(from), d.at(to), true)
}

func (d *davStore) Remove(_ context.Context, p string) error {
	// The library takes a 404 for success.
	if _, err := d.c.Stat(d.at(p)); err != nil {
		return notThere(err)
	}
	return d.c.Remove(d.at(p))
}

func (d *davStore) Close() error { return nil }
