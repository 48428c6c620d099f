// Package ifd walks the tag directories of TIFF 6.0, on which Exif, DNG and most
// camera raw formats are built. It reads only the directories and their small
// values, never the pixels, and trusts nothing: offsets may point anywhere,
// counts may be absurd and directories may form a ring.
//
// Sources: Adobe, TIFF revision 6.0 (1992), section 2; CIPA DC-008 (Exif 2.32),
// section 4.6; Adobe, Digital Negative specification 1.6.
package ifd

import (
	"encoding/binary"
	"errors"
	"io"
	"slices"
)

// Kind says how a directory was reached.
type Kind int

// The kinds of directory.
const (
	Main Kind = iota // in the file's chain: IFD0, IFD1, ...
	Sub              // through SubIFDs (tag 330)
	Exif             // through the Exif pointer (tag 34665)
)

// Dir is one directory.
type Dir struct {
	Kind    Kind
	Index   int // position among the directories of its kind
	Entries []Entry
}

// Find returns the entry of a tag, and false when the directory has none.
func (d *Dir) Find(tag uint16) (Entry, bool) {
	for _, e := range d.Entries {
		if e.Tag == tag {
			return e, true
		}
	}
	return Entry{}, false
}

// ErrNotTIFF is returned when the data don't start with a TIFF header.
var ErrNotTIFF = errors.New("no TIFF header")

// Limits that no real file reaches.
const (
	maxDirs    = 64
	maxEntries = 1024
	maxValue   = 64 << 10 // bytes of a value that is kept
	maxLarge   = 2 << 20  // bytes of a list of opcodes, which may hold gain maps
	maxTotal   = 4 << 20  // bytes of values kept in all
)

// large are the tags whose values may be long: the three lists of opcodes of a DNG.
var large = []uint16{51008, 51009, 51022}

const (
	tagSubIFDs = 330
	tagExif    = 34665
)

type reader struct {
	r     io.ReaderAt
	order binary.ByteOrder
	seen  map[uint32]bool
	count map[Kind]int
	kept  int
	dirs  []Dir
}

// Read returns the directories that can be read, in the order in which they are
// reached. A damaged directory ends its branch, not the walk. The error is
// ErrNotTIFF or that of reading the header.
func Read(r io.ReaderAt) ([]Dir, error) {
	var head [8]byte
	if _, err := r.ReadAt(head[:], 0); err != nil {
		if err == io.EOF {
			err = ErrNotTIFF
		}
		return nil, err
	}
	order := Order(head[:])
	if order == nil {
		return nil, ErrNotTIFF
	}
	w := &reader{r: r, order: order, seen: map[uint32]bool{}, count: map[Kind]int{}}
	w.chain(order.Uint32(head[4:]), Main)
	return w.dirs, nil
}

// Order returns the byte order a TIFF header declares, nil when b doesn't start
// with one. Two makers' raw formats put their own number where TIFF has 42.
func Order(b []byte) binary.ByteOrder {
	if len(b) < 4 {
		return nil
	}
	switch string(b[:4]) {
	case "II*\x00", "IIU\x00", "IIRO", "IIRS":
		return binary.LittleEndian
	case "MM\x00*", "MMOR":
		return binary.BigEndian
	}
	return nil
}

// chain reads the directory at off and those that follow it.
func (w *reader) chain(off uint32, kind Kind) {
	for off != 0 && !w.seen[off] && len(w.dirs) < maxDirs {
		w.seen[off] = true
		d, next, ok := w.dir(off)
		if !ok {
			return
		}
		d.Kind, d.Index = kind, w.count[kind]
		w.count[kind]++
		w.dirs = append(w.dirs, d)
		if e, ok := d.Find(tagExif); ok {
			if v, ok := e.Uint(0); ok {
				w.chain(uint32(v), Exif)
			}
		}
		if e, ok := d.Find(tagSubIFDs); ok {
			for i := range min(e.Len(), maxDirs) {
				if v, ok := e.Uint(i); ok {
					w.chain(uint32(v), Sub)
				}
			}
		}
		if kind != Main {
			return
		}
		off = next
	}
}

// dir reads one directory and the offset of the next.
func (w *reader) dir(off uint32) (d Dir, next uint32, ok bool) {
	var n [2]byte
	if _, err := w.r.ReadAt(n[:], int64(off)); err != nil {
		return d, 0, false
	}
	count := int(w.order.Uint16(n[:]))
	if count == 0 || count > maxEntries {
		return d, 0, false
	}
	buf := make([]byte, count*12+4)
	got, err := w.r.ReadAt(buf, int64(off)+2)
	if err != nil && err != io.EOF {
		return d, 0, false
	}
	for i := range min(count, got/12) {
		d.Entries = append(d.Entries, w.entry(buf[i*12:i*12+12]))
	}
	if got == len(buf) {
		next = w.order.Uint32(buf[count*12:])
	}
	return d, next, len(d.Entries) > 0
}

func (w *reader) entry(b []byte) Entry {
	e := Entry{
		Tag: w.order.Uint16(b), Type: w.order.Uint16(b[2:]), Count: w.order.Uint32(b[4:]),
		order: w.order,
	}
	size := int64(e.Count) * int64(typeSize(e.Type))
	if size <= 4 {
		e.Offset = -1
		e.data = b[8 : 8+size]
		return e
	}
	e.Offset = int64(w.order.Uint32(b[8:]))
	most := int64(maxValue)
	if slices.Contains(large, e.Tag) {
		most = maxLarge
	}
	if size > most || w.kept+int(size) > maxTotal {
		return e
	}
	data := make([]byte, size)
	if _, err := w.r.ReadAt(data, e.Offset); err != nil {
		return e
	}
	w.kept += int(size)
	e.data = data
	return e
}
