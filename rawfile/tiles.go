package rawfile

import (
	"context"
	"errors"
	"sync"

	"mullion/internal/raster"
	"mullion/metadata/ifd"
)

// Tags of TIFF 6.0 and the DNG specification.
const (
	tagWidth          = 256
	tagHeight         = 257
	tagBits           = 258
	tagCompression    = 259
	tagPhotometric    = 262
	tagStripOffsets   = 273
	tagSamples        = 277
	tagRowsPerStrip   = 278
	tagStripCounts    = 279
	tagTileWidth      = 322
	tagTileHeight     = 323
	tagTileOffsets    = 324
	tagTileCounts     = 325
	tagCFALayout      = 50711
	tagLinearTable    = 50712
	tagMaskedAreas    = 50830
	photometricMosaic = 32803
	compressionJPEG   = 7
)

func number(d *ifd.Dir, tag uint16, missing int) int {
	if e, ok := d.Find(tag); ok {
		if v, ok := e.Uint(0); ok && v < 1<<31 {
			return int(v)
		}
	}
	return missing
}

// packed returns the directory of the one mosaic that our own decoder can read as
// it stands: lossless JPEG, no lookup table, no masked areas to take black from.
func (d dngTags) packed(s sensor) *ifd.Dir {
	var found *ifd.Dir
	for i := range d {
		if number(&d[i], tagPhotometric, 0) != photometricMosaic {
			continue
		}
		if found != nil {
			return nil
		}
		found = &d[i]
	}
	if found == nil || number(found, tagCompression, 1) != compressionJPEG || number(found, tagSamples, 1) != 1 ||
		number(found, tagCFALayout, 1) != 1 || number(found, tagWidth, 0) != s.rawW || number(found, tagHeight, 0) != s.rawH {
		return nil
	}
	for _, tag := range []uint16{tagLinearTable, tagMaskedAreas} {
		if _, ok := found.Find(tag); ok {
			return nil
		}
	}
	return found
}

// grid says how a picture is cut into strips or tiles.
type grid struct {
	w, h          int // picture
	tileW, tileH  int
	across        int
	offset, count ifd.Entry
}

func newGrid(d *ifd.Dir, w, h int) (g grid, ok bool) {
	g = grid{w: w, h: h, tileW: w, tileH: min(number(d, tagRowsPerStrip, h), h)}
	if g.offset, ok = d.Find(tagTileOffsets); ok {
		g.tileW, g.tileH = number(d, tagTileWidth, 0), number(d, tagTileHeight, 0)
		g.count, _ = d.Find(tagTileCounts)
	} else {
		g.offset, _ = d.Find(tagStripOffsets)
		g.count, _ = d.Find(tagStripCounts)
	}
	if g.tileW < 1 || g.tileH < 1 || g.tileW*g.tileH > maxPixels {
		return g, false
	}
	g.across = (w + g.tileW - 1) / g.tileW
	n := g.across * ((h + g.tileH - 1) / g.tileH)
	return g, g.offset.Len() == n && g.count.Len() == n
}

// unpackTiles reads a mosaic of w x h samples. The error errLJPEGOther leaves the
// file to LibRaw.
func unpackTiles(ctx context.Context, data []byte, d *ifd.Dir, w, h int) ([]uint16, error) {
	g, ok := newGrid(d, w, h)
	if !ok {
		return nil, errLJPEGOther
	}
	pix := raster.GetWords(w * h)
	var mu sync.Mutex
	var failed error
	err := raster.BandsOf(ctx, g.offset.Len(), 1, func(i, _ int) {
		if err := g.tile(data, i, pix); err != nil {
			mu.Lock()
			failed = errors.Join(failed, err)
			mu.Unlock()
		}
	})
	if err == nil {
		err = failed
	}
	if err != nil {
		raster.PutWords(pix)
		return nil, err
	}
	return pix, nil
}

// tile decodes tile i into its place. A JPEG's own lines may be arranged otherwise
// than the tile's (two rows in one line is common): the samples follow each other
// all the same.
func (g *grid) tile(data []byte, i int, pix []uint16) error {
	o, _ := g.offset.Uint(i)
	n, _ := g.count.Uint(i)
	if o+n > uint64(len(data)) {
		return errLJPEGShort
	}
	j, err := parseLJPEG(data[o : o+n])
	if err != nil {
		return err
	}
	x0, y0 := i%g.across*g.tileW, i/g.across*g.tileH
	cols, rows := min(g.tileW, g.w-x0), min(g.tileH, g.h-y0)
	line := j.w * j.n
	if line == g.tileW && cols == g.tileW && j.h == rows {
		return j.decode(pix[y0*g.w+x0:], g.w)
	}
	if line*j.h < g.tileW*rows || line*j.h > maxPixels || line*j.h > 4*g.tileW*g.tileH {
		return errLJPEGOther
	}
	buf := raster.GetWords(line * j.h)
	defer raster.PutWords(buf)
	if err := j.decode(buf, line); err != nil {
		return err
	}
	for y := range rows {
		copy(pix[(y0+y)*g.w+x0:][:cols], buf[y*g.tileW:])
	}
	return nil
}
