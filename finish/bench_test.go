package finish

import (
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"mullion/simcam"
)

// One view of five frames of 24 megapixels (6000 x 4000), from the card to the
// delivered picture. peak-MB is the most memory that this process and those of its
// decoders held together, looked at every few milliseconds (Linux's /proc).
func Benchmark24MP(b *testing.B) {
	dir := b.TempDir()
	card := filepath.Join(dir, "card")
	set := simcam.Defaults()
	set.Scale = 10. / 3
	photograph(b, card, set, scenes(b, "kitchen")...)
	debug.FreeOSMemory() // what making the card took
	begin, peak := cpu(), watchMemory(b)
	n := 0
	for b.Loop() {
		n++
		r, err := Run(b.Context(), Job{Card: card, Shoot: filepath.Join(dir, "shoot"+strconv.Itoa(n))})
		if err != nil || len(r.Failed) > 0 || len(r.Views) != 1 || r.Views[0].Files[0].Width != 2048 {
			b.Fatalf("%v %+v", err, r)
		}
		if n == 1 {
			b.Log(r.Views[0].Seconds)
		}
	}
	b.ReportMetric((cpu()-begin).Seconds()/float64(b.N), "own-cpu-s/op") // without the decoders'
	if peak() > 0 {
		b.ReportMetric(peak(), "peak-MB")
	}
}

// watchMemory looks at the memory of this process and its children until the benchmark
// ends; the function it returns tells the most so far in megabytes.
func watchMemory(b *testing.B) (peak func() float64) {
	var most atomic.Int64
	over := make(chan struct{})
	b.Cleanup(func() { close(over) })
	go func() {
		for tick := time.NewTicker(5 * time.Millisecond); ; {
			select {
			case <-over:
				return
			case <-tick.C:
				most.Store(max(most.Load(), heldKB()))
			}
		}
	}()
	return func() float64 { return float64(most.Load()) / 1000 }
}

// heldKB is the private memory of this process and its children and what they share,
// which counts once.
func heldKB() int64 {
	private, shared, _ := memoryOf("self")
	kids := int64(0)
	lists, _ := filepath.Glob("/proc/self/task/*/children")
	for _, l := range lists {
		b, _ := os.ReadFile(l)
		for _, pid := range strings.Fields(string(b)) {
			if p, s, ok := memoryOf(pid); ok {
				private += p
				kids += s
			}
		}
	}
	return private + max(shared, kids)
}

func memoryOf(pid string) (private, shared int64, ok bool) {
	b, err := os.ReadFile(filepath.Join("/proc", pid, "status"))
	for line := range strings.Lines(string(b)) {
		name, rest, _ := strings.Cut(line, ":")
		if name != "RssAnon" && name != "RssShmem" {
			continue
		}
		kb, _ := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
		if name == "RssAnon" {
			private = kb
		} else {
			shared = kb
		}
	}
	return private, shared, err == nil
}
