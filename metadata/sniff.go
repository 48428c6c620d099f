package metadata

import (
	"bytes"
	"fmt"
	"io"
	"unicode/utf8"

	"mullion/metadata/ifd"
)

// Kind is a file's format by its first bytes, whatever its name.
type Kind int

// The formats told apart. KindOther is a format whose tags only a raw library
// reads (or none at all).
const (
	KindOther Kind = iota
	KindJPEG
	KindTIFF // TIFF and the raw formats built on it, DNG among them
	KindPNG
	KindHEIF
	KindCR3  // ISO base media with the brand "crx "
	KindFuji // the RAF container
)

// Sniff tells a file's kind and refuses what can't be a picture: empty files,
// text, folders of zeros, and contents that contradict the name.
func Sniff(path string, r io.ReaderAt, size int64) (Kind, error) {
	if size == 0 {
		return KindOther, &FileError{Path: path, Problem: "the file is empty (0 bytes)", Advice: AdviceCopyAgain}
	}
	head := make([]byte, 512)
	n, err := r.ReadAt(head, 0)
	if n == 0 && err != nil {
		return KindOther, openError(path, err)
	}
	head = head[:n]
	kind := kindOf(head)
	if kind != KindOther {
		return kind, contradiction(path, kind)
	}
	if allZero(head) && !IsRawName(path) || allZero(head) && size < 4096 {
		return KindOther, &FileError{Path: path, Problem: "it holds only zeros", Advice: AdviceCopyAgain}
	}
	if isText(head) {
		return KindOther, &FileError{Path: path, Problem: "this is text, not a picture", Advice: adviceRename}
	}
	if want, ok := expected[ending(path)]; ok {
		return KindOther, &FileError{
			Path:    path,
			Problem: fmt.Sprintf("it is named %s but does not begin like %s", ending(path), want),
			Advice:  AdviceCopyAgain,
		}
	}
	return KindOther, nil
}

// expected names the formats whose first bytes are certain, so that a file without
// them is damaged from its first block on.
var expected = map[string]string{
	".jpg": "a JPEG", ".jpeg": "a JPEG", ".jpe": "a JPEG", ".png": "a PNG",
	".tif": "a TIFF", ".tiff": "a TIFF", ".dng": "a DNG", ".heic": "a HEIC", ".heif": "a HEIC", ".hif": "a HEIC",
	".cr2": "a raw file of that kind", ".cr3": "a raw file of that kind", ".nef": "a raw file of that kind",
	".nrw": "a raw file of that kind", ".arw": "a raw file of that kind", ".sr2": "a raw file of that kind",
	".pef": "a raw file of that kind", ".raf": "a raw file of that kind", ".rw2": "a raw file of that kind",
	".orf": "a raw file of that kind", ".srw": "a raw file of that kind",
}

func kindOf(head []byte) Kind {
	switch {
	case bytes.HasPrefix(head, []byte{0xFF, 0xD8, 0xFF}):
		return KindJPEG
	case bytes.HasPrefix(head, []byte("\x89PNG\r\n\x1a\n")):
		return KindPNG
	case ifd.Order(head) != nil:
		return KindTIFF
	case bytes.HasPrefix(head, []byte("FUJIFILMCCD-RAW")):
		return KindFuji
	case len(head) >= 12 && string(head[4:8]) == "ftyp":
		return kindOfBrand(head)
	}
	return KindOther
}

// kindOfBrand reads the brands of an ISO base media file (ISO/IEC 14496-12).
func kindOfBrand(head []byte) Kind {
	size := int(head[0])<<24 | int(head[1])<<16 | int(head[2])<<8 | int(head[3])
	size = max(12, min(size, len(head)))
	for i := 8; i+4 <= size; i += 4 {
		switch string(head[i : i+4]) {
		case "crx ":
			return KindCR3
		case "heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1":
			return KindHEIF
		}
	}
	return KindOther
}

// contradiction refuses a name that promises sensor data over a rendered file.
// (Some cameras and phones name a HEIC ".jpg"; that is read as what it is.)
func contradiction(path string, kind Kind) error {
	if IsRawName(path) && (kind == KindJPEG || kind == KindPNG || kind == KindHEIF) {
		name := map[Kind]string{KindJPEG: "JPEG", KindPNG: "PNG", KindHEIF: "HEIC"}[kind]
		return &FileError{Path: path, Problem: "it is named as a raw file but holds a " + name, Advice: adviceRename}
	}
	return nil
}

func allZero(b []byte) bool {
	for _, c := range b {
		if c != 0 {
			return false
		}
	}
	return true
}

// isText reports whether the block reads as text: valid UTF-8 without control
// characters other than line breaks and tabs.
func isText(b []byte) bool {
	for len(b) > 0 && len(b) >= 8 && !utf8.Valid(b) && len(b)%512 > 508 {
		b = b[:len(b)-1] // a rune cut by the block's end
	}
	if !utf8.Valid(b) {
		return false
	}
	for _, c := range b {
		if c < 0x20 && c != '\n' && c != '\r' && c != '\t' && c != '\f' {
			return false
		}
	}
	return true
}
