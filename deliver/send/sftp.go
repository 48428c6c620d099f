package send

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"os/user"
	"path"
	"path/filepath"
	"strings"
	"time"

	"github.com/pkg/sftp"
	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"
	"golang.org/x/crypto/ssh/knownhosts"
)

// patience is how long a server may take to answer.
const patience = 30 * time.Second

type sftpStore struct {
	conn *ssh.Client
	c    *sftp.Client
	base string
	stop func() bool
}

func openSFTP(ctx context.Context, u *url.URL, access Access) (Store, error) {
	name := u.User.Username()
	if name == "" {
		me, err := user.Current()
		if err != nil {
			return nil, fmt.Errorf("%w: say whose account it is, like sftp://name@%s", ErrAddress, u.Host)
		}
		name = me.Username
	}
	port := u.Port()
	if port == "" {
		port = "22"
	}
	addr := net.JoinHostPort(u.Hostname(), port)
	check, algorithms, err := hostKeys(addr, access.KnownHosts)
	if err != nil {
		return nil, err
	}
	auth, closeAgent, err := authMethods(name, u.Hostname(), access)
	if err != nil {
		return nil, err
	}
	defer closeAgent()
	dialer := net.Dialer{Timeout: patience}
	raw, err := dialer.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("%s can't be reached: %w", addr, err)
	}
	// A blocked reading or writing ends with the context.
	stop := context.AfterFunc(ctx, func() { raw.Close() })
	raw.SetDeadline(time.Now().Add(patience))
	conn, channels, requests, err := ssh.NewClientConn(raw, addr, &ssh.ClientConfig{
		User: name, Auth: auth, HostKeyCallback: check, HostKeyAlgorithms: algorithms, Timeout: patience,
	})
	if err != nil {
		raw.Close()
		return nil, fmt.Errorf("%s: %w", addr, err)
	}
	raw.SetDeadline(time.Time{})
	s := &sftpStore{conn: ssh.NewClient(conn, channels, requests), stop: stop}
	if s.c, err = sftp.NewClient(s.conn); err != nil {
		s.conn.Close()
		return nil, fmt.Errorf("%s offers no file transfer: %w", addr, err)
	}
	s.base = strings.TrimPrefix(u.Path, "/~/")
	if s.base == "" {
		s.base = "."
	}
	return s, nil
}

// hostKeys returns the check of a host's key against the known_hosts file, and the
// kinds of key that the file knows of the host, so that the server shows one of them.
func hostKeys(addr, file string) (ssh.HostKeyCallback, []string, error) {
	if file == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return nil, nil, err
		}
		file = filepath.Join(home, ".ssh", "known_hosts")
	}
	check, err := knownhosts.New(file)
	if err != nil {
		return nil, nil, fmt.Errorf("no host is known yet (%w): connect once with ssh, compare the key it shows with the one your provider tells you, and accept it there", err)
	}
	wrapped := func(host string, remote net.Addr, key ssh.PublicKey) error {
		err := check(host, remote, key)
		var unknown *knownhosts.KeyError
		switch {
		case err == nil:
			return nil
		case errors.As(err, &unknown) && len(unknown.Want) == 0:
			return fmt.Errorf("the host is not in %s. Its key is %s %s: compare it with the one your provider tells you, and accept it once with ssh", file, key.Type(), ssh.FingerprintSHA256(key))
		case errors.As(err, &unknown):
			return fmt.Errorf("THE HOST SHOWS ANOTHER KEY (%s %s) than the one in %s. Nothing was sent: somebody may be in between; ask your provider", key.Type(), ssh.FingerprintSHA256(key), file)
		}
		return err
	}
	// Asked with no key at all, the check tells which it would take.
	var want *knownhosts.KeyError
	var algorithms []string
	if err := check(addr, &net.TCPAddr{}, noKey{}); errors.As(err, &want) {
		for _, k := range want.Want {
			switch t := k.Key.Type(); t {
			case ssh.KeyAlgoRSA:
				algorithms = append(algorithms, ssh.KeyAlgoRSASHA512, ssh.KeyAlgoRSASHA256)
			default:
				algorithms = append(algorithms, t)
			}
		}
	}
	return wrapped, algorithms, nil
}

// noKey is a public key that is none.
type noKey struct{}

func (noKey) Type() string                        { return "none" }
func (noKey) Marshal() []byte                     { return nil }
func (noKey) Verify([]byte, *ssh.Signature) error { return errors.New("no key") }

// authMethods are the agent's keys, the key files, and then a password.
func authMethods(name, host string, access Access) (methods []ssh.AuthMethod, closeAgent func(), err error) {
	closeAgent = func() {}
	if sock := os.Getenv("SSH_AUTH_SOCK"); sock != "" {
		if conn, err := net.Dial("unix", sock); err == nil {
			closeAgent = func() { conn.Close() }
			methods = append(methods, ssh.PublicKeysCallback(agent.NewClient(conn).Signers))
		}
	}
	var signers []ssh.Signer
	for _, file := range access.KeyFiles {
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, closeAgent, err
		}
		s, err := ssh.ParsePrivateKey(data)
		var locked *ssh.PassphraseMissingError
		switch {
		case errors.As(err, &locked):
			return nil, closeAgent, fmt.Errorf("%s: the key is locked with a passphrase; put it into the agent (ssh-add) instead", file)
		case err != nil:
			return nil, closeAgent, fmt.Errorf("%s: %w", file, err)
		}
		signers = append(signers, s)
	}
	if len(signers) > 0 {
		methods = append(methods, ssh.PublicKeys(signers...))
	}
	if access.Password != nil {
		methods = append(methods, ssh.PasswordCallback(func() (string, error) { return access.Password(name, host) }))
	}
	if len(methods) == 0 {
		return nil, closeAgent, errors.New("there is no key and no password to log in with: start an agent, or name a key file")
	}
	return methods, closeAgent, nil
}

func (s *sftpStore) at(p string) string { return path.Join(s.base, p) }

func (s *sftpStore) Size(_ context.Context, p string) (int64, error) {
	info, err := s.c.Stat(s.at(p))
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

func (s *sftpStore) Open(_ context.Context, p string) (io.ReadCloser, error) {
	return s.c.Open(s.at(p))
}

func (s *sftpStore) Write(_ context.Context, p string, at int64, r io.Reader, _ int64) error {
	if err := s.c.MkdirAll(path.Dir(s.at(p))); err != nil {
		return err
	}
	flags := os.O_WRONLY | os.O_CREATE
	if at == 0 {
		flags |= os.O_TRUNC
	}
	f, err := s.c.OpenFile(s.at(p), flags)
	if err != nil {
		return err
	}
	if _, err = f.Seek(at, io.SeekStart); err == nil {
		// One after the other: what is there after a broken line is a whole beginning.
		_, err = f.ReadFromWithConcurrency(r, 1)
	}
	return errors.Join(err, f.Close())
}

func (s *sftpStore) CanAppend() bool { return true }

// Rename replaces what is there, also where the server's own renaming does not.
func (s *sftpStore) Rename(_ context.Context, from, to string) error {
	if s.c.PosixRename(s.at(from), s.at(to)) == nil {
		return nil
	}
	if err := s.c.Remove(s.at(to)); err != nil && !missing(err) {
		return err
	}
	return s.c.Rename(s.at(from), s.at(to))
}

func (s *sftpStore) Remove(_ context.Context, p string) error { return s.c.Remove(s.at(p)) }

func (s *sftpStore) Close() error {
	s.stop()
	return errors.Join(s.c.Close(), s.conn.Close())
}
