package raster

import (
	"runtime"
	"slices"
	"sync"
	"time"
)

// store keeps large buffers that nobody uses, no more than so many bytes of them and
// not for long. The collector would let garbage grow to the size of everything in use,
// a gigabyte of planes; so what a store lets go is collected before as much is made
// anew, which costs a millisecond, since planes hold no pointers to follow.
type store struct {
	most int64 // bytes

	mu   sync.Mutex
	free []spare // the last given back last
	held int64   // bytes of free
	gone int64   // bytes that were let go since the last collection
	tidy *time.Timer
}

type spare struct {
	buf  []float32
	back time.Time
}

const (
	// collectAt is how many bytes let go are worth a collection.
	collectAt = 64 << 20
	// keepFor is how long a buffer waits for its next use.
	keepFor = 10 * time.Second
)

// take returns a buffer of a size class: a spare one, or one of the next class, or a new
// one.
func (s *store) take(c int) []float32 {
	s.mu.Lock()
	for _, size := range [2]int{c, class(c + 1)} {
		for i := len(s.free) - 1; i >= 0; i-- {
			if buf := s.free[i].buf; len(buf) == size {
				s.remove(i)
				s.mu.Unlock()
				return buf
			}
		}
	}
	s.shrink(s.most - bytes(c))
	collect := s.gone >= collectAt
	if collect {
		s.gone = 0
	}
	s.mu.Unlock()
	if collect {
		runtime.GC()
	}
	return make([]float32, c)
}

// give puts a buffer of a size class into the store.
func (s *store) give(buf []float32) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.free = append(s.free, spare{buf, time.Now()})
	s.held += bytes(len(buf))
	s.shrink(s.most)
	if s.tidy == nil {
		s.tidy = time.AfterFunc(keepFor, s.rest)
	}
}

// shrink lets the oldest go until no more than so many bytes are held.
func (s *store) shrink(most int64) {
	for len(s.free) > 0 && s.held > most {
		s.gone += bytes(len(s.free[0].buf))
		s.remove(0)
	}
}

func (s *store) remove(i int) {
	s.held -= bytes(len(s.free[i].buf))
	s.free = slices.Delete(s.free, i, i+1)
}

// rest lets go of what nobody has asked for.
func (s *store) rest() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(s.free) > 0 && time.Since(s.free[0].back) >= keepFor {
		s.gone += bytes(len(s.free[0].buf))
		s.remove(0)
	}
	s.tidy = nil
	if len(s.free) > 0 {
		s.tidy = time.AfterFunc(keepFor, s.rest)
	}
}

func bytes(samples int) int64 { return 4 * int64(samples) }
