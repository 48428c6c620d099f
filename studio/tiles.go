package studio

import (
	"context"
	"net/http"
	"strconv"
	"sync"

	"mullion/finish"
	"mullion/jpegfile"
	"mullion/shoot"
)

// tileEdge is the edge of a tile in pixels of the finished picture.
const tileEdge = 512

// tileQuality is that of a tile's JPEG file: it is looked at and thrown away.
const tileQuality = 92

// fulls keeps the last two pictures that were looked at in full size, decoded: a view
// with its changes and the same without.
type fulls struct {
	mu   sync.Mutex
	last []full
}

type full struct {
	key string
	img *jpegfile.Image
}

// of has the full-size picture of a view. Only one is made at a time.
func (f *fulls) of(ctx context.Context, h *house, v shoot.View) (*jpegfile.Image, error) {
	d, err := h.doc()
	if err != nil {
		return nil, err
	}
	key := v.ID + finish.LookKey(v, d.Views)
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, one := range f.last {
		if one.key == key {
			return one.img, nil
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err // whoever asked has gone on while another was made
	}
	b, err := patiently(ctx, func() ([]byte, error) { return h.previews.Full(ctx, v) })
	if err != nil {
		return nil, err
	}
	img, err := jpegfile.Decode(b, 0)
	if err != nil {
		return nil, err
	}
	f.last = append(f.last, full{key, img})
	if len(f.last) > 2 {
		f.last = f.last[1:]
	}
	return img, nil
}

// tile sends a part of the finished picture at full size. The first tile of a picture
// takes as long as the picture takes to be made.
func (s *Server) tile(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	column, err1 := strconv.Atoi(r.PathValue("column"))
	row, err2 := strconv.Atoi(r.PathValue("row"))
	if err1 != nil || err2 != nil || column < 0 || row < 0 {
		return errNoTile
	}
	if r.URL.Query().Has("unaltered") {
		v.Edits = nil
	}
	img, err := s.fulls.of(r.Context(), h, v)
	if err != nil {
		return err
	}
	part := cropped(img, column*tileEdge, row*tileEdge)
	if part == nil {
		return errNoTile
	}
	e, err := jpegfile.NewEncoder()
	if err != nil {
		return err
	}
	defer e.Close()
	b, err := e.Encode(part, jpegfile.Options{Quality: tileQuality})
	if err != nil {
		return err
	}
	return picture(w, b)
}

var errNoTile = fault{http.StatusNotFound, "the picture has no such part"}

// cropped is the tile whose first pixel is (x, y); those at the far edges are smaller.
// It is nil outside the picture.
func cropped(img *jpegfile.Image, x, y int) *jpegfile.Image {
	w, h := min(tileEdge, img.W-x), min(tileEdge, img.H-y)
	if w <= 0 || h <= 0 {
		return nil
	}
	out := jpegfile.NewImage(w, h)
	for j := range h {
		copy(out.Pix[3*w*j:3*w*(j+1)], img.Pix[3*((y+j)*img.W+x):])
	}
	return out
}
