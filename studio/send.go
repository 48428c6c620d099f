package studio

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"mullion/deliver/send"
	"mullion/finish"
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
	password := func(user, host string) (string, error) {
		if q.Password == "" {
			return "", fmt.Errorf("%s wants a password for %s: type it beside the address", host, user)
		}
		return q.Password, nil
	}
	r, err := finish.Send(ctx, h.dir, q.Delivery, q.To, send.Access{Password: password}, tell)
	if err != nil {
		return err
	}
	tell(finish.Event{Step: "sending", Done: r.Files, Total: r.Files, Note: fmt.Sprintf("%s at %s, every one read back and compared; %d sent now.", count(r.Files, "file"), send.Plain(q.To), r.Sent)})
	return nil
}
