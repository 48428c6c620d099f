package ifd

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
)

// Entry is one tag of a directory with its value.
type Entry struct {
	Tag, Type uint16
	Count     uint32
	Offset    int64 // where the value lies, -1 when inside the entry itself

	data  []byte // nil when the value was too large or could not be read
	order binary.ByteOrder
}

// The TIFF value types we tell apart.
const (
	tByte = 1 + iota
	tASCII
	tShort
	tLong
	tRational
	tSByte
	tUndefined
	tSShort
	tSLong
	tSRational
	tFloat
	tDouble
	tIFD
	tUTF8 = 129 // Exif 3.0
)

func typeSize(t uint16) int {
	switch t {
	case tByte, tASCII, tSByte, tUndefined, tUTF8:
		return 1
	case tShort, tSShort:
		return 2
	case tLong, tSLong, tFloat, tIFD:
		return 4
	case tRational, tSRational, tDouble:
		return 8
	}
	return 0
}

// Len is the number of values that were read.
func (e Entry) Len() int {
	if s := typeSize(e.Type); s > 0 {
		return len(e.data) / s
	}
	return 0
}

// Bytes returns the value as it stands in the file.
func (e Entry) Bytes() []byte { return e.data }

// Uint returns value i of a whole-number type.
func (e Entry) Uint(i int) (uint64, bool) {
	if i < 0 || i >= e.Len() {
		return 0, false
	}
	switch e.Type {
	case tByte, tUndefined:
		return uint64(e.data[i]), true
	case tShort:
		return uint64(e.order.Uint16(e.data[2*i:])), true
	case tLong, tIFD:
		return uint64(e.order.Uint32(e.data[4*i:])), true
	}
	return 0, false
}

// Float returns value i of any number type. A fraction with a zero denominator
// is no number.
func (e Entry) Float(i int) (float64, bool) {
	if v, ok := e.Uint(i); ok {
		return float64(v), true
	}
	if i < 0 || i >= e.Len() {
		return 0, false
	}
	var f float64
	switch e.Type {
	case tSByte:
		f = float64(int8(e.data[i]))
	case tSShort:
		f = float64(int16(e.order.Uint16(e.data[2*i:])))
	case tSLong:
		f = float64(int32(e.order.Uint32(e.data[4*i:])))
	case tRational:
		f = float64(e.order.Uint32(e.data[8*i:])) / float64(e.order.Uint32(e.data[8*i+4:]))
	case tSRational:
		f = float64(int32(e.order.Uint32(e.data[8*i:]))) / float64(int32(e.order.Uint32(e.data[8*i+4:])))
	case tFloat:
		f = float64(math.Float32frombits(e.order.Uint32(e.data[4*i:])))
	case tDouble:
		f = math.Float64frombits(e.order.Uint64(e.data[8*i:]))
	default:
		return 0, false
	}
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return 0, false
	}
	return f, true
}

// Floats returns all values as numbers, nil when any of them is none.
func (e Entry) Floats() []float64 {
	out := make([]float64, e.Len())
	for i := range out {
		v, ok := e.Float(i)
		if !ok {
			return nil
		}
		out[i] = v
	}
	return out
}

// Text returns a text value without its terminating zero and the spaces around it.
func (e Entry) Text() string {
	if e.Type != tASCII && e.Type != tUTF8 && e.Type != tByte && e.Type != tUndefined {
		return ""
	}
	b, _, _ := bytes.Cut(e.data, []byte{0})
	return strings.TrimSpace(strings.ToValidUTF8(string(b), ""))
}
