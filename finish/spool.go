package finish

import (
	"os"
	"sync"
	"unsafe"

	"mullion/card/disk"
	"mullion/internal/raster"
)

// spool keeps merges between the two passes of a run: a view's pixels wait on the disk,
// what is known about them in memory. Its files have no names any more, so that a killed
// run leaves nothing behind. It never fails: what it can't keep is merged a second time.
type spool struct {
	dir  string
	mu   sync.Mutex
	held map[string]*held // by view
}

// held is one waiting merge.
type held struct {
	scene *Scene
	clock *Clock
	file  *os.File
	sizes [3][2]int // of the planes in the file; one for a mosaic, three for colour
}

// spare is how much of the disk a spool leaves free, in bytes: pictures come first.
const spare = 2 << 30

func newSpool(dir string) *spool { return &spool{dir: dir, held: map[string]*held{}} }

// planes are the pixels of a merge before interpolation.
func (s *Scene) planes() []**raster.Plane {
	if m := s.Merged; m.Mosaic != nil {
		return []**raster.Plane{&m.Mosaic}
	} else if m.RGB != nil {
		return []**raster.Plane{&m.RGB[0], &m.RGB[1], &m.RGB[2]}
	}
	return nil
}

// put takes over the scene, a merge that is not interpolated yet, and gives its pixels
// back to the pool. Calls must not overlap.
func (s *spool) put(view string, scene *Scene, clock *Clock) {
	planes := scene.planes()
	defer func() {
		for _, p := range planes {
			raster.Put(*p)
		}
	}()
	var need int64
	for _, p := range planes {
		need += 4 * int64((*p).W) * int64((*p).H)
	}
	if free, err := disk.OS.Free(s.dir); err != nil || free < need+spare {
		return
	}
	f, err := os.CreateTemp(s.dir, ".merge-*")
	if err != nil {
		return
	}
	if os.Remove(f.Name()) != nil { // systems that can't unlink an open file go without
		f.Close()
		os.Remove(f.Name())
		return
	}
	h := &held{scene: scene, clock: clock, file: f}
	for i, p := range planes {
		h.sizes[i] = [2]int{(*p).W, (*p).H}
		if (*p).Stride != (*p).W {
			*p = (*p).Clone()
		}
		if _, err := f.Write(bytesOf((*p).Pix[:(*p).W*(*p).H])); err != nil {
			f.Close()
			return
		}
	}
	s.held[view] = h
}

// take returns a waiting merge, whole again, or nil.
func (s *spool) take(view string) (*Scene, *Clock) {
	s.mu.Lock()
	h := s.held[view]
	delete(s.held, view)
	s.mu.Unlock()
	if h == nil {
		return nil, nil
	}
	defer h.file.Close()
	var at int64
	for i, p := range h.scene.planes() {
		*p = raster.Get(h.sizes[i][0], h.sizes[i][1])
		b := bytesOf((*p).Pix)
		if n, _ := h.file.ReadAt(b, at); n != len(b) {
			return nil, nil // the disk lost it: the view is merged again
		}
		at += int64(len(b))
	}
	return h.scene, h.clock
}

func (s *spool) close() {
	for _, h := range s.held {
		h.file.Close()
	}
	s.held = nil
}

// bytesOf is the memory of v. The file is read by the process that wrote it, so the
// order of the bytes is nobody's business.
func bytesOf(v []float32) []byte {
	if len(v) == 0 {
		return nil
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&v[0])), 4*len(v))
}
