package record

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"

	"mullion/card"
	"mullion/deliver"
)

// Verdict is what came of checking a delivery.
type Verdict struct {
	Record      Record
	Fingerprint string // of the key that signed it
	Faults      []Fault
	Files       int // checked and unchanged
	Originals   int // checked and unchanged
	Absent      int // originals that are not here to be checked
}

// OK reports that nothing was found changed.
func (v Verdict) OK() bool { return len(v.Faults) == 0 }

// Fault is one file that is not what was signed.
type Fault struct {
	Path    string // below the delivery; originals below the shoot
	Problem string
}

// Verify checks the delivery in the folder dir against its signed record. shoot is
// the folder the originals' paths start from; empty for none at hand. The error is
// for a folder that holds no record or can't be read; everything else is in the
// verdict. Who owns the key is not proved: compare its fingerprint with the one the
// photographer told you.
func Verify(ctx context.Context, dir, shoot string) (Verdict, error) {
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return Verdict{}, fmt.Errorf("%s: there is no %s; name the folder of one delivery", dir, FileName)
	}
	if err != nil {
		return Verdict{}, err
	}
	var v Verdict
	if f := v.checkSignature(dir, data); f != nil {
		v.Faults = append(v.Faults, *f)
	}
	if v.Record, err = parse(data); err != nil {
		if !v.OK() {
			return v, nil
		}
		return v, fmt.Errorf("%s: %w", filepath.Join(dir, FileName), err)
	}
	if err := v.checkFiles(ctx, dir); err != nil {
		return v, err
	}
	for _, f := range v.Record.Originals {
		path := filepath.Join(shoot, filepath.FromSlash(f.Path))
		_, err := os.Stat(path)
		if shoot == "" || !filepath.IsLocal(filepath.FromSlash(f.Path)) || errors.Is(err, fs.ErrNotExist) {
			v.Absent++
			continue
		}
		ok, err := v.compare(ctx, path, f)
		if err != nil {
			return v, err
		}
		if ok {
			v.Originals++
		}
	}
	return v, nil
}

// checkSignature names the file at fault: the record, or its signature.
func (v *Verdict) checkSignature(dir string, record []byte) *Fault {
	data, err := os.ReadFile(filepath.Join(dir, SigName))
	if err != nil {
		return &Fault{SigName, "it can't be read, so nothing proves the record: " + err.Error()}
	}
	var s signature
	bad := &Fault{SigName, "it was changed: it is no valid signature"}
	if json.Unmarshal(data, &s) != nil {
		return bad
	}
	key, err1 := base64.StdEncoding.Strict().DecodeString(s.PublicKey)
	sig, err2 := base64.StdEncoding.Strict().DecodeString(s.Signature)
	if err1 != nil || err2 != nil || len(key) != ed25519.PublicKeySize || s.Algorithm != "Ed25519" {
		return bad
	}
	v.Fingerprint = Fingerprint(key)
	sum := sha256.Sum256(record)
	same := hex.EncodeToString(sum[:]) == s.Record
	switch genuine := ed25519.Verify(key, record, sig); {
	case genuine && same:
		return nil
	case genuine || same:
		return bad
	}
	return &Fault{FileName, "it was changed after it was signed"}
}

func (v *Verdict) checkFiles(ctx context.Context, dir string) error {
	listed := map[string]bool{}
	for _, f := range v.Record.Files {
		listed[f.Path] = true
		if !filepath.IsLocal(filepath.FromSlash(f.Path)) {
			v.Faults = append(v.Faults, Fault{f.Path, "it lies outside the delivery"})
			continue
		}
		ok, err := v.compare(ctx, filepath.Join(dir, filepath.FromSlash(f.Path)), f)
		if err != nil {
			return err
		}
		if ok {
			v.Files++
		}
	}
	here, err := hashFolder(ctx, dir)
	if err != nil {
		return err
	}
	for _, f := range here {
		if !listed[f.Path] {
			v.Faults = append(v.Faults, Fault{f.Path, "it was added after the record was signed"})
		}
	}
	if _, err := os.Stat(filepath.Join(dir, deliver.ArchiveName)); err == nil {
		same, err := deliver.SameArchive(ctx, dir, v.Record.Made)
		if err != nil {
			return err
		}
		if same {
			v.Files++
		} else {
			v.Faults = append(v.Faults, Fault{deliver.ArchiveName, "it does not hold what the delivery holds"})
		}
	}
	sort.SliceStable(v.Faults, func(i, j int) bool { return v.Faults[i].Path < v.Faults[j].Path })
	return nil
}

// compare adds a fault unless the file at path is what f says.
func (v *Verdict) compare(ctx context.Context, path string, f File) (bool, error) {
	sum, _, err := card.Sum(ctx, path)
	switch {
	case ctx.Err() != nil:
		return false, ctx.Err()
	case errors.Is(err, fs.ErrNotExist):
		v.Faults = append(v.Faults, Fault{f.Path, "it is missing"})
	case err != nil:
		v.Faults = append(v.Faults, Fault{f.Path, "it can't be read: " + err.Error()})
	case sum != f.SHA256:
		v.Faults = append(v.Faults, Fault{f.Path, "it was changed"})
	default:
		return true, nil
	}
	return false, nil
}
