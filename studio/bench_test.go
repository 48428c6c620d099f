package studio

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"mullion/demo"
	"mullion/finish"
	"mullion/simcam"
)

// What a page waits for between a change and its picture of 1600 pixels, over HTTP: the
// change kept, the facts, the picture; and for a draft while a hand moves.
func BenchmarkChange(b *testing.B) {
	dir := benchHouse(b)
	s, err := Start(b.Context(), Options{Shoot: dir, Version: "test"})
	if err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve() }()
	b.Cleanup(func() {
		s.stop()
		<-ended
	})
	v := visit(b, s)
	get := func(path string) {
		if status, _, said := v.get(path); status != 200 {
			b.Fatalf("%s answers %d %s", path, status, said)
		}
	}
	get("/facts/view-01")
	for _, c := range []struct {
		name   string
		change func(i int) any
	}{
		{"light", func(i int) any { return map[string]any{"room_ev": float64(i%300+1) / 100, "what": "light"} }},
		{"level", func(i int) any {
			return map[string]any{"level": map[string]any{"pitch": float64(i%400+1) / 100}, "what": "level"}
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for i := range b.N {
				v.must("/decide/view-01", c.change(i))
				get("/facts/view-01")
				get("/live/view-01?k=1")
			}
		})
	}
	b.Run("draft-level", func(b *testing.B) {
		for i := range b.N {
			get(fmt.Sprintf("/live/view-01?draft=1&pitch=%d.5&roll=1", i%5))
		}
	})
}

func benchHouse(b *testing.B) string {
	b.Helper()
	set := simcam.Defaults()
	set.Scale, set.EV = 1.15, []float64{-2.667, 0, 2.667}
	guest, err := demo.Truth("guest")
	if err != nil {
		b.Fatal(err)
	}
	card, dir := filepath.Join(b.TempDir(), "card"), filepath.Join(b.TempDir(), "house")
	if _, err := simcam.LF1().Shoot(context.Background(), card, []simcam.View{guest.Scene()}, set, nil); err != nil {
		b.Fatal(err)
	}
	if _, err := finish.Run(b.Context(), finish.Job{Card: card, Shoot: dir, Version: "test"}); err != nil {
		b.Fatal(err)
	}
	if err := checkMaster(dir); err != nil {
		b.Fatal(err)
	}
	return dir
}
