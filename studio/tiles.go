package studio

import (
	"context"
	"net/http"
	"net/url"
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
// and what it is compared with.
type fulls struct {
	mu   sync.Mutex
	last []full
}

type full struct {
	key string
	img *jpegfile.Image
}

// whole has the full-size picture of a view.
func (f *fulls) whole(ctx context.Context, h *house, v shoot.View) (*jpegfile.Image, error) {
	d, err := h.doc()
	if err != nil {
		return nil, err
	}
	return f.of(ctx, v.ID+finish.LookKey(v, d.Views), func() ([]byte, error) { return h.previews.Full(ctx, v) })
}

// exposure has one frame of a view in full size.
func (f *fulls) exposure(ctx context.Context, h *house, v shoot.View, n int) (*jpegfile.Image, error) {
	if n < 0 || n >= len(v.Frames) {
		return nil, errNoTile
	}
	one := shoot.View{Frames: v.Frames[n : n+1], Decisions: shoot.Decisions{Level: v.Decisions.Level}}
	return f.of(ctx, v.ID+" frame "+finish.LookKey(one, nil), func() ([]byte, error) { return h.previews.FullExposure(ctx, v, n) })
}

// of has the picture of a key. Only one is made at a time.
func (f *fulls) of(ctx context.Context, key string, make func() ([]byte, error)) (*jpegfile.Image, error) {
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
	b, err := patiently(ctx, make)
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
	img, err := s.fulls.asked(r.Context(), h, v, r.URL.Query())
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

// asked has the picture that a query names: an exposure, or the view with what the query
// tries, as for [Server.live].
func (f *fulls) asked(ctx context.Context, h *house, v shoot.View, q url.Values) (*jpegfile.Image, error) {
	if q.Has("exposure") {
		n, err := strconv.Atoi(q.Get("exposure"))
		if err != nil {
			return nil, errNoTile
		}
		return f.exposure(ctx, h, v, n)
	}
	if err := tried(&v, q); err != nil {
		return nil, err
	}
	return f.whole(ctx, h, v)
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
