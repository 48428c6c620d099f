package metadata

import (
	"bytes"
	"encoding/binary"
	"io"

	"mullion/metadata/ifd"
)

// The markers of ITU-T T.81 (JPEG) that matter here.
const (
	markerSOS  = 0xDA
	markerEOI  = 0xD9
	markerAPP1 = 0xE1
)

var exifHeader = []byte("Exif\x00\x00")

// readJPEG reads the Exif segment and the size from the frame header. It stops at
// the first scan: a few kilobytes of a file of any size.
func readJPEG(r io.ReadSeeker, info *Info) {
	walkJPEG(r, func(marker byte, seg []byte) bool {
		switch {
		case marker == markerAPP1 && bytes.HasPrefix(seg, exifHeader):
			if dirs, err := ifd.Read(bytes.NewReader(seg[len(exifHeader):])); err == nil {
				w, h := info.Width, info.Height
				tags(dirs).fill(info)
				info.Width, info.Height = w, h
			}
		case isSOF(marker) && len(seg) >= 5:
			info.Height = int(binary.BigEndian.Uint16(seg[1:]))
			info.Width = int(binary.BigEndian.Uint16(seg[3:]))
		}
		return true
	})
}

// isSOF is true of the frame headers C0 to CF but for DHT, JPG and DAC.
func isSOF(m byte) bool { return m >= 0xC0 && m <= 0xCF && m != 0xC4 && m != 0xC8 && m != 0xCC }

// walkJPEG calls fn with every marker segment before the first scan, until fn
// returns false or the file is not a JPEG any more.
func walkJPEG(r io.ReadSeeker, fn func(marker byte, segment []byte) bool) {
	var b [4]byte
	if _, err := io.ReadFull(r, b[:2]); err != nil || b[0] != 0xFF || b[1] != 0xD8 {
		return
	}
	for {
		if _, err := io.ReadFull(r, b[:2]); err != nil || b[0] != 0xFF {
			return
		}
		for b[1] == 0xFF { // fill bytes
			if _, err := io.ReadFull(r, b[1:2]); err != nil {
				return
			}
		}
		m := b[1]
		if m == markerSOS || m == markerEOI {
			return
		}
		if m == 0x01 || m >= 0xD0 && m <= 0xD7 { // markers that stand alone
			continue
		}
		if _, err := io.ReadFull(r, b[2:4]); err != nil {
			return
		}
		n := int(binary.BigEndian.Uint16(b[2:])) - 2
		if n < 0 {
			return
		}
		if m >= 0xE2 && m <= 0xEF || m == 0xFE { // not ours: profiles, comments, previews
			if _, err := r.Seek(int64(n), io.SeekCurrent); err != nil {
				return
			}
			continue
		}
		seg := make([]byte, n)
		if _, err := io.ReadFull(r, seg); err != nil || !fn(m, seg) {
			return
		}
	}
}
