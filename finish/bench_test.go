package finish

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"mullion/simcam"
)

// One view of five frames of 24 megapixels (6000 x 4000), from the card to the
// delivered picture. peak-MB is the most memory the process ever held (VmHWM of
// Linux's /proc), the making of the card included when that took more.
func Benchmark24MP(b *testing.B) {
	dir := b.TempDir()
	card := filepath.Join(dir, "card")
	set := simcam.Defaults()
	set.Scale = 10. / 3
	photograph(b, card, set, scenes(b, "kitchen")...)
	forgetPeak()
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
	if peak := peakMB(); peak > 0 {
		b.ReportMetric(peak, "peak-MB")
	}
}

// forgetPeak starts the count of the peak anew where the kernel allows it (proc(5),
// clear_refs).
func forgetPeak() { _ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) }

func peakMB() float64 {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kb / 1000
		}
	}
	return 0
}
