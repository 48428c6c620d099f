package record

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	_ "embed" // the page
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"path/filepath"
	"sort"
	"strings"

	"mullion/card"
	"mullion/card/disk"
	"mullion/deliver"
)

//go:embed page.html
var pageHTML string

var page = template.Must(template.New("record").Funcs(template.FuncMap{
	"percent": func(v float64) string { return fmt.Sprintf("%.0f", v) },
	"day":     func(e Edit) string { return e.At.Format("2 January 2006, 15:04 MST") },
}).Parse(pageHTML))

// signature is the contents of edit-record.sig.
type signature struct {
	Algorithm string `json:"algorithm"` // "Ed25519"
	PublicKey string `json:"public_key"`
	Record    string `json:"record_sha256"`
	Signature string `json:"signature"` // over the bytes of edit-record.json
}

// Write completes the record with the hashes of every file in the delivery's folder,
// signs it, and writes its three files there. The folder must be complete otherwise.
// Format, Version, Caution, PublicKey and Files are filled in.
func Write(ctx context.Context, dir string, r Record, key ed25519.PrivateKey) error {
	public := key.Public().(ed25519.PublicKey)
	r.Format, r.Version, r.Caution = format, version, Caution
	r.PublicKey = base64.StdEncoding.EncodeToString(public)
	var b bytes.Buffer
	if err := page.Execute(&b, struct {
		Record
		Fingerprint string
	}{r, Fingerprint(public)}); err != nil {
		return err
	}
	if err := put(filepath.Join(dir, PageName), b.Bytes()); err != nil {
		return err
	}
	var err error
	if r.Files, err = hashFolder(ctx, dir); err != nil {
		return err
	}
	data, err := r.bytes()
	if err != nil {
		return err
	}
	sum := sha256.Sum256(data)
	sig, err := json.MarshalIndent(signature{
		Algorithm: "Ed25519", PublicKey: r.PublicKey, Record: hex.EncodeToString(sum[:]),
		Signature: base64.StdEncoding.EncodeToString(ed25519.Sign(key, data)),
	}, "", "  ")
	if err != nil {
		return err
	}
	return errors.Join(put(filepath.Join(dir, FileName), data), put(filepath.Join(dir, SigName), append(sig, '\n')))
}

// hashFolder is every file below dir but the record, its signature and the archive,
// which holds these two, by name. Hidden files, such as those a file manager leaves, don't count.
func hashFolder(ctx context.Context, dir string) ([]File, error) {
	var out []File
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		if rel != "." && strings.HasPrefix(e.Name(), ".") {
			if e.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		rel = filepath.ToSlash(rel)
		if !e.Type().IsRegular() || rel == FileName || rel == SigName || rel == deliver.ArchiveName {
			return nil
		}
		sum, _, err := card.Sum(ctx, path)
		out = append(out, File{rel, sum})
		return err
	})
	sort.Slice(out, func(i, j int) bool { return out[i].Path < out[j].Path })
	return out, err
}

func put(path string, data []byte) error {
	if err := disk.WriteFile(disk.OS, path, data); err != nil {
		return fmt.Errorf("%s can't be written: %w", path, err)
	}
	return nil
}
