package finish

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"mullion/deliver"
	"mullion/deliver/send"
	"mullion/record"
	"mullion/shoot"
)

// Send brings a finished delivery of the shoot in the folder dir to a place (see
// [send.Open]) and notes in the shoot what is proved there. What an earlier, broken
// sending left there is carried on. report, which may be nil, is told about progress.
func Send(ctx context.Context, dir, delivery, to string, access send.Access, report func(Event)) (send.Result, error) {
	var none send.Result
	store, err := send.Open(ctx, to, access)
	if err != nil {
		return none, err
	}
	defer store.Close()
	from := filepath.Join(dir, "deliveries", delivery)
	last := []string{record.FileName, record.SigName} // they make a delivery whole
	r, err := send.Delivery(ctx, from, store, last, recorded, func(done, total int, _ string) {
		if report != nil {
			report(Event{Step: "sending", Done: done, Total: total})
		}
	})
	if ctx.Err() != nil {
		return none, ctx.Err()
	}
	if err != nil {
		return none, fmt.Errorf("%s: %w", send.Plain(to), err)
	}
	sum, err := sumOf(filepath.Join(from, record.FileName))
	if err != nil {
		return none, err
	}
	s, err := shoot.Open(ctx, dir)
	if err != nil {
		return none, err
	}
	sent := shoot.Sent{
		Delivery: delivery, To: send.Plain(to), At: time.Now().UTC().Truncate(time.Second),
		Files: r.Files, Bytes: r.Bytes, Record: sum,
	}
	return r, errors.Join(s.Update(ctx, func(d *shoot.Doc) error { noteSent(d, sent); return nil }), s.Close())
}

// noteSent keeps the latest sending of a delivery to a place.
func noteSent(d *shoot.Doc, s shoot.Sent) {
	if d.Pack == nil {
		d.Pack = &shoot.Pack{}
	}
	for i, was := range d.Pack.Sent {
		if was.Delivery == s.Delivery && was.To == s.To {
			s.Extra = was.Extra
			d.Pack.Sent[i] = s
			return
		}
	}
	d.Pack.Sent = append(d.Pack.Sent, s)
}

// recorded are the files that an edit record speaks of, and the archive.
func recorded(data []byte) []string {
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
