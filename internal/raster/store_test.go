package raster

import (
	"sync"
	"testing"
	"time"
)

// What is given back is had again, or what is a little larger, and no more is held than
// was allowed: the oldest goes first.
func TestStore(t *testing.T) {
	c := class(large)
	s := store{most: 3 * bytes(c)}
	a := s.take(c)
	a[0] = 7
	s.give(a)
	if b := s.take(c); b[0] != 7 {
		t.Error("a buffer that was given back is not had again")
	}
	next := class(c + 1)
	s.give(make([]float32, next))
	if b := s.take(c); len(b) != next {
		t.Errorf("%d samples of %d were not taken for %d", len(b), next, c)
	}
	for i := range 5 {
		b := make([]float32, c)
		b[0] = float32(i)
		s.give(b)
	}
	if s.held != s.most || len(s.free) != 3 || s.free[0].buf[0] != 2 {
		t.Errorf("%d bytes in %d buffers, the oldest %v; want %d in 3, the oldest 2", s.held, len(s.free), s.free[0].buf[0], s.most)
	}
	if b := s.take(2 * next); len(b) != 2*next || s.held+bytes(2*next) > s.most {
		t.Errorf("%d bytes held beside %d new ones; want %d at most", s.held, bytes(2*next), s.most)
	}
	for i := range s.free {
		s.free[i].back = time.Now().Add(-keepFor)
	}
	s.give(make([]float32, c))
	if s.rest(); len(s.free) != 1 {
		t.Errorf("%d buffers after a rest, want the last given back", len(s.free))
	}
	if s.tidy == nil {
		t.Error("nobody will look after the last one")
	}
}

// A buffer belongs to one taker at a time.
func TestStoreShared(t *testing.T) {
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 200 {
				p := Get(512, 128+i%3*64)
				mark := float32(1000*g + i)
				p.Fill(mark)
				for _, v := range p.Pix {
					if v != mark {
						t.Errorf("a sample of another taker: %v", v)
						return
					}
				}
				Put(p)
			}
		})
	}
	wg.Wait()
}

func TestWords(t *testing.T) {
	for _, n := range []int{0, 1, 3, 2049, 2*large + 1} {
		w := GetWords(n)
		if len(w) != n {
			t.Errorf("%d words, want %d", len(w), n)
		}
		for i := range w {
			w[i] = uint16(i)
		}
		PutWords(w)
	}
	PutWords(nil)
}

func BenchmarkPool(b *testing.B) {
	for b.Loop() {
		p, q := Get(1800, 1200), Get(900, 600)
		Put(p, q)
	}
}
