package record

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// keyName is the key's file beside the user's other settings.
const keyName = "record-key.pem"

// Key returns the key that records are signed with, from the configuration folder
// dir; it is made there, readable by its user only, when there is none.
func Key(dir string) (ed25519.PrivateKey, error) {
	path := filepath.Join(dir, keyName)
	key, err := readKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	_, key, err = ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the folder of the signing key can't be made: %w", err)
	}
	if err := putKey(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})); err != nil {
		return nil, fmt.Errorf("the signing key can't be written: %w", err)
	}
	return readKey(path) // another run may have been first
}

// putKey writes the key's file whole, and leaves one that is there already.
func putKey(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".record-key-*") // of mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Link(f.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return os.Rename(f.Name(), path) // a file system without links
	}
	return nil
}

func readKey(path string) (ed25519.PrivateKey, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(data)
	if block == nil {
		return nil, fmt.Errorf("%s: this is no key; bring it back from a backup, or move it away and a new one is made", path)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("%s: the key is damaged (%w); bring it back from a backup, or move it away and a new one is made", path, err)
	}
	k, ok := key.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%s: this is not an Ed25519 key; move it away and one is made", path)
	}
	return k, nil
}

// Fingerprint is how people compare a public key: the first 16 bytes of its SHA-256
// in groups of four hex digits.
func Fingerprint(key ed25519.PublicKey) string {
	sum := sha256.Sum256(key)
	s := hex.EncodeToString(sum[:16])
	out := s[:4]
	for i := 4; i < len(s); i += 4 {
		out += " " + s[i:i+4]
	}
	return out
}
