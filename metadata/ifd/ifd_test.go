package ifd

import (
	"bytes"
	"encoding/binary"
	"testing"
)

// build writes a directory at offset 8 with the given 12-byte entries, then next.
func build(order binary.AppendByteOrder, next uint32, entries ...[]byte) []byte {
	b := []byte("II*\x00")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		b = []byte("MM\x00*")
	}
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, uint16(len(entries)))
	for _, e := range entries {
		b = append(b, e...)
	}
	return order.AppendUint32(b, next)
}

func entry(order binary.AppendByteOrder, tag, typ uint16, count, value uint32) []byte {
	b := order.AppendUint16(nil, tag)
	b = order.AppendUint16(b, typ)
	b = order.AppendUint32(b, count)
	return order.AppendUint32(b, value)
}

func TestValuesInBothByteOrders(t *testing.T) {
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		const end = 8 + 2 + 4*12 + 4
		b := build(order, 0,
			entry(order, 256, tLong, 1, 6000),
			entry(order, 33434, tRational, 1, end),
			entry(order, 37377, tSRational, 1, end+8),
			entry(order, 51041, tDouble, 2, 1<<31), // points nowhere
		)
		b = order.AppendUint32(b, 1)
		b = order.AppendUint32(b, 125)
		b = order.AppendUint32(b, uint32(0xFFFFFFFB)) // -5
		b = order.AppendUint32(b, 2)
		dirs, err := Read(bytes.NewReader(b))
		if err != nil || len(dirs) != 1 {
			t.Fatalf("%v %v", dirs, err)
		}
		for tag, want := range map[uint16]float64{256: 6000, 33434: 1. / 125, 37377: -2.5} {
			e, ok := dirs[0].Find(tag)
			if v, ok2 := e.Float(0); !ok || !ok2 || v != want {
				t.Errorf("tag %d: %v, want %v", tag, v, want)
			}
		}
		if e, _ := dirs[0].Find(51041); e.Len() != 0 || e.Offset != 1<<31 {
			t.Errorf("a value beyond the file was read: %+v", e)
		}
	}
}

// Directories in a ring, and absurd counts, end the walk.
func TestHostileOffsets(t *testing.T) {
	le := binary.AppendByteOrder(binary.LittleEndian)
	ring := build(le, 8, entry(le, tagSubIFDs, tLong, 1, 8), entry(le, tagExif, tLong, 1, 8))
	dirs, err := Read(bytes.NewReader(ring))
	if err != nil || len(dirs) != 1 {
		t.Errorf("ring: %d directories, %v", len(dirs), err)
	}
	huge := build(le, 0, entry(le, 700, tByte, 0xFFFFFFFF, 8))
	if dirs, err = Read(bytes.NewReader(huge)); err != nil || dirs[0].Entries[0].Len() != 0 {
		t.Errorf("huge count: %v %v", dirs, err)
	}
	if _, err := Read(bytes.NewReader([]byte("text"))); err != ErrNotTIFF {
		t.Errorf("text: %v", err)
	}
}

func FuzzRead(f *testing.F) {
	le := binary.AppendByteOrder(binary.LittleEndian)
	f.Add(build(le, 8, entry(le, tagSubIFDs, tLong, 1, 8)))
	f.Add([]byte("MM\x00*\x00\x00\x00\x08\xFF\xFF"))
	f.Fuzz(func(t *testing.T, b []byte) {
		dirs, err := Read(bytes.NewReader(b))
		if err != nil {
			return
		}
		if len(dirs) > maxDirs {
			t.Fatalf("%d directories", len(dirs))
		}
		for i := range dirs {
			for _, e := range dirs[i].Entries {
				e.Text()
				e.Floats()
				e.Float(e.Len())
				e.Uint(-1)
			}
		}
	})
}
