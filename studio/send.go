package studio

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"mullion/deliver"
	"mullion/deliver/send"
	"mullion/finish"
	"mullion/record"
	"mullion/shoot"
)

// sendRequest says which delivery goes where. The password is used once: it is in no
// file, no message and no address.
type sendRequest struct{ Delivery, To, Password string }

// send begins to send a delivery; what is there already is proved and left.
func (s *Server) send(w http.ResponseWriter, r *http.Request) error {
	h := s.here()
	if h == nil {
		return errNoShoot
	}
	var q sendRequest
	if err := take(r, &q); err != nil {
		return err
	}
	d, err := h.doc()
	if err != nil {
		return err
	}
	if _, ok := h.made(d, q.Delivery); !slices.Contains(deliveries(d), q.Delivery) || !ok {
		return fault{http.StatusBadRequest, "make the delivery first; then it can be sent"}
	}
	q.To = strings.TrimSpace(q.To)
	if !strings.Contains(q.To, "://") && !filepath.IsAbs(q.To) {
		return fault{http.StatusBadRequest, "type where to send it: the whole path of a folder, sftp://name@host/folder or webdavs://name@host/folder"}
	}
	if err := send.CheckAddress(q.To); err != nil {
		return fault{http.StatusBadRequest, err.Error()}
	}
	err = s.begin("send", func(ctx context.Context, tell func(finish.Event)) (*finish.Report, string, error) {
		return nil, "/deliver", h.send(ctx, q, tell)
	})
	if err != nil {
		return err
	}
	give(w, s.job.look())
	return nil
}

func (h *house) send(ctx context.Context, q sendRequest, tell func(finish.Event)) error {
	tell(finish.Event{Step: "opening the place"})
	store, err := send.Open(ctx, q.To, send.Access{Password: func(user, host string) (string, error) {
		if q.Password == "" {
			return "", fmt.Errorf("%s wants a password for %s: type it beside the address", host, user)
		}
		return q.Password, nil
	}})
	if err != nil {
		return err
	}
	defer store.Close()
	dir := filepath.Join(h.dir, "deliveries", q.Delivery)
	r, err := send.Delivery(ctx, dir, store, []string{record.FileName, record.SigName}, listed, func(done, total int, _ string) {
		tell(finish.Event{Step: "sending", Done: done, Total: total})
	})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return fmt.Errorf("%s: %w", send.Plain(q.To), err)
	}
	sum, err := sumOf(filepath.Join(dir, record.FileName))
	if err != nil {
		return err
	}
	sent := shoot.Sent{
		Delivery: q.Delivery, To: send.Plain(q.To), At: time.Now().UTC().Truncate(time.Second),
		Files: r.Files, Bytes: r.Bytes, Record: sum,
	}
	if err := h.noteSent(ctx, sent); err != nil {
		return err
	}
	tell(finish.Event{Step: "sending", Done: r.Files, Total: r.Files, Note: fmt.Sprintf("%s at %s, every one read back and compared; %d sent now.", count(r.Files, "file"), sent.To, r.Sent)})
	return nil
}

// noteSent keeps the latest sending of a delivery to a place. It is a fact and no
// decision: there is nothing to undo.
func (h *house) noteSent(ctx context.Context, s shoot.Sent) error {
	open, err := shoot.Open(ctx, h.dir)
	if err != nil {
		return err
	}
	defer open.Close()
	return open.Update(ctx, func(d *shoot.Doc) error {
		if d.Pack == nil {
			d.Pack = &shoot.Pack{}
		}
		d.Pack.Sent = slices.DeleteFunc(d.Pack.Sent, func(was shoot.Sent) bool { return was.Delivery == s.Delivery && was.To == s.To })
		d.Pack.Sent = append(d.Pack.Sent, s)
		return nil
	})
}

// listed are the files that an edit record speaks of, and the archive.
func listed(data []byte) []string {
	var r record.Record
	if json.Unmarshal(data, &r) != nil {
		return nil
	}
	names := []string{deliver.ArchiveName}
	for _, f := range r.Files {
		names = append(names, f.Path)
	}
	return names
}

// sumOf is a file's SHA-256, empty when there is no such file.
func sumOf(path string) (string, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}
