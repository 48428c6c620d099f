package imprint

import (
	"crypto/md5"
	"encoding/binary"
)

// iim returns the records of the IPTC Information Interchange Model 4.2 that
// mirror the XMP properties, each cut to the model's byte limit. The text is
// UTF-8, which data set 1:90 announces by the escape sequence ESC % G.
func iim(a About) []byte {
	var b []byte
	set := func(record, number byte, value string, limit int) {
		if value = cutBytes(value, limit); value == "" {
			return
		}
		b = append(b, 0x1C, record, number)
		b = binary.BigEndian.AppendUint16(b, uint16(len(value)))
		b = append(b, value...)
	}
	set(1, 90, "\x1B%G", 32)
	set(2, 0, "\x00\x04", 2)
	set(2, 5, a.Title, 64)
	for _, k := range a.Keywords {
		set(2, 25, k, 64)
	}
	set(2, 40, a.Instructions, 256)
	if !a.Taken.IsZero() {
		set(2, 55, a.Taken.Format("20060102"), 8)
		if a.HasZone { // the model has no time without a zone
			set(2, 60, a.Taken.Format("150405-0700"), 11)
		}
	}
	set(2, 80, a.Who.Creator, 32)
	set(2, 90, a.City, 32)
	set(2, 95, a.State, 32)
	set(2, 101, a.Country, 64)
	set(2, 105, a.Headline, 256)
	set(2, 110, a.Who.Credit, 32)
	set(2, 116, a.Who.Notice(a.Taken), 128)
	set(2, 120, a.Description, 2000)
	return b
}

// resources wraps the records into the APP13 segment's image resource blocks:
// 0x0404 holds the records, 0x0425 their MD5, by which a reader sees whether
// they were changed after the XMP was written.
func resources(records []byte) []byte {
	out := []byte("Photoshop 3.0\x00")
	block := func(id uint16, data []byte) {
		out = append(out, "8BIM"...)
		out = binary.BigEndian.AppendUint16(out, id)
		out = append(out, 0, 0) // no name
		out = binary.BigEndian.AppendUint32(out, uint32(len(data)))
		out = append(out, data...)
		if len(data)%2 == 1 {
			out = append(out, 0)
		}
	}
	sum := md5.Sum(records)
	block(0x0404, records)
	block(0x0425, sum[:])
	return out
}
