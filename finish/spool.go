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
	laid  *laid // one plane for a mosaic, three for colour
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
	var whole []*raster.Plane
	for _, p := range planes {
		whole = append(whole, *p)
	}
	if l := lay(s.dir, whole); l != nil {
		s.held[view] = &held{scene: scene, clock: clock, laid: l}
	}
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
	defer h.laid.close()
	got := h.laid.read()
	if got == nil {
		return nil, nil // the disk lost it: the view is merged again
	}
	for i, p := range h.scene.planes() {
		*p = got[i]
	}
	return h.scene, h.clock
}

func (s *spool) close() {
	for _, h := range s.held {
		h.laid.close()
	}
	s.held = nil
}

// laid are planes in a file without a name.
type laid struct {
	file  *os.File
	sizes [][2]int
}

// lay writes planes into a file in the folder dir, or returns nil where that can't be.
func lay(dir string, planes []*raster.Plane) *laid {
	var need int64
	for _, p := range planes {
		need += 4 * int64(p.W) * int64(p.H)
	}
	if free, err := disk.OS.Free(dir); err != nil || free < need+spare {
		return nil
	}
	f, err := os.CreateTemp(dir, ".merge-*")
	if err != nil {
		return nil
	}
	if os.Remove(f.Name()) != nil { // systems that can't unlink an open file go without
		f.Close()
		os.Remove(f.Name())
		return nil
	}
	l := &laid{file: f}
	for _, p := range planes {
		if p.Stride != p.W {
			p = p.Clone()
		}
		if _, err := f.Write(bytesOf(p.Pix[:p.W*p.H])); err != nil {
			f.Close()
			return nil
		}
		l.sizes = append(l.sizes, [2]int{p.W, p.H})
	}
	return l
}

// read returns the planes, or nil when the disk lost them.
func (l *laid) read() []*raster.Plane {
	var out []*raster.Plane
	var at int64
	for _, size := range l.sizes {
		p := raster.Get(size[0], size[1])
		out = append(out, p)
		b := bytesOf(p.Pix)
		if n, _ := l.file.ReadAt(b, at); n != len(b) {
			raster.Put(out...)
			return nil
		}
		at += int64(len(b))
	}
	return out
}

// close gives the disk back. l may be nil.
func (l *laid) close() {
	if l != nil {
		l.file.Close()
	}
}

// bytesOf is the memory of v. The file is read by the process that wrote it, so the
// order of the bytes is nobody's business.
func bytesOf(v []float32) []byte {
	if len(v) == 0 {
		return nil
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&v[0])), 4*len(v))
}
