package rawfile

import (
	"fmt"

	"mullion/metadata/ifd"
)

// tagRawDataOffset is where RW2 files put the place of their sensor data.
const tagRawDataOffset = 280

// tooSmall refuses a file that can't hold its picture: under half a bit a pixel is
// less than any raw compression reaches.
func tooSmall(path string, w, h, size int) error {
	if w*h < 1e6 || size*16 >= w*h {
		return nil
	}
	return damaged(path, fmt.Sprintf("%d bytes can't hold a picture of %d x %d: only its beginning is there", size, w, h), nil)
}

// claimedTooMuch refuses headers that describe no sensor there is, before LibRaw
// makes room for them.
func claimedTooMuch(path string, s sensor, size int) error {
	if s.rawW*s.rawH > 400_000_000 || s.w > s.rawW || s.h > s.rawH && !s.skewed {
		return damaged(path, fmt.Sprintf("its header claims a sensor of %d x %d", s.rawW, s.rawH), nil)
	}
	return tooSmall(path, s.rawW, s.rawH, size)
}

// missingData compares the file's own index with its length: where TIFF strips or
// tiles of the largest picture should end beyond the end of the file, it was cut.
// Formats not built on TIFF have no directories; there the pixels must tell.
func missingData(path string, dirs []ifd.Dir, size int) error {
	var most, end uint64
	for i := range dirs {
		for _, pair := range [][2]uint16{{273, 279}, {324, 325}} { // strips, tiles
			n, e := extent(&dirs[i], pair)
			if n > most {
				most, end = n, e
			}
		}
	}
	if end > uint64(size)+most/200 { // some writers round the last strip up
		return damaged(path, fmt.Sprintf("its sensor data should reach to byte %d, the file ends at %d", end, size), nil)
	}
	return nil
}

// extent returns how many bytes of picture a directory points to and where the last ends.
func extent(d *ifd.Dir, pair [2]uint16) (total, end uint64) {
	off, ok1 := d.Find(pair[0])
	count, ok2 := d.Find(pair[1])
	if o, ok := off.Uint(0); ok && o == 0xFFFFFFFF { // one maker's "look there instead"
		off, ok1 = d.Find(tagRawDataOffset)
	}
	if !ok1 || !ok2 || off.Len() != count.Len() {
		return 0, 0
	}
	for i := range off.Len() {
		o, _ := off.Uint(i)
		c, _ := count.Uint(i)
		total += c
		end = max(end, o+c)
	}
	return total, end
}

// judge looks at the samples themselves. LibRaw reports success for files whose
// sensor data are missing and returns black or flat pixels.
func judge(path string, l *library, m *Mosaic, h *histogram) error {
	if n, at := l.dataErrors(); n > 0 {
		return damaged(path, dataErrorText(n, at), nil)
	}
	if flat(h) {
		return damaged(path, "every photosite has the same value, which no sensor gives: the sensor data are missing", nil)
	}
	if dead := deadRows(m); dead > max(16, m.H/200) {
		return damaged(path, fmt.Sprintf("the last %d of %d rows are empty", dead, m.H), nil)
	}
	return nil
}

func dataErrorText(n int, at int64) string {
	if at < 0 {
		return "the sensor data end too early"
	}
	return fmt.Sprintf("the sensor data make no sense from byte %d on (%d places)", at, n)
}

// flat is true when all samples of every colour share one value, other than a few
// in a thousand.
func flat(h *histogram) bool {
	for c := range h {
		total, most := 0, uint32(0)
		for _, n := range h[c] {
			total += int(n)
			most = max(most, n)
		}
		if float64(most) < 0.9999*float64(total) {
			return false
		}
	}
	return true
}

// deadRows counts the rows at the bottom that carry no noise at all and are not
// clipped. A decoder that runs dry repeats itself: each sample equals its
// neighbour of the same colour, or differs from it by the same step all along the
// row (what a lossless-JPEG decoder makes of zeros).
func deadRows(m *Mosaic) int {
	n := 0
	for y := m.H - 1; y >= 0; y-- {
		row := m.Pix[y*m.W : (y+1)*m.W]
		if float32(row[0]) >= m.White*0.9 && row[0] == row[len(row)-1] {
			return n // clipped, perhaps
		}
		for x := 6; x < len(row); x++ {
			if row[x]-row[x-2] != row[x-2]-row[x-4] {
				return n
			}
		}
		n++
	}
	return n
}

// judgeWords does the same for interpolated pixels, three samples each.
func judgeWords(path string, l *library, pix []uint16, w, h int) error {
	if n, at := l.dataErrors(); n > 0 {
		return damaged(path, dataErrorText(n, at), nil)
	}
	dead := 0
	for y := h - 1; y >= 0 && deadRow(pix[3*w*y:3*w*(y+1)]); y-- {
		dead++
	}
	if dead == h {
		return damaged(path, "every pixel has the same value, which no sensor gives: the sensor data are missing", nil)
	}
	if dead > max(16, h/200) {
		return damaged(path, fmt.Sprintf("the last %d of %d rows are empty", dead, h), nil)
	}
	return nil
}

func deadRow(row []uint16) bool {
	for c, v := range row[:3] {
		if v >= 64225 { // 0.98: clipped, perhaps
			return false
		}
		for x := c; x < len(row); x += 3 {
			if row[x] != v {
				return false
			}
		}
	}
	return true
}
