package lines

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// What BenchmarkDetect is to be read beside: OpenCV's detector on the same
// picture, without our sub-pixel refinement. Skipped where there is no OpenCV.
func BenchmarkOpenCVDetect(b *testing.B) {
	p := room(1500, 1000)
	m := image.NewGray(image.Rect(0, 0, p.W, p.H))
	for i, v := range p.Pix {
		m.SetGray(i%p.W, i/p.W, color.Gray{uint8(255 * max(0, min(1, v)))})
	}
	path := filepath.Join(b.TempDir(), "room.png")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, m); err != nil {
		b.Fatal(err)
	}
	out, err := exec.Command("/usr/bin/python3", "-c", `
import sys, time, cv2
m = cv2.imread(sys.argv[1], 0)
d = cv2.createLineSegmentDetector(cv2.LSD_REFINE_ADV)
times = []
for _ in range(10):
    t = time.perf_counter()
    d.detect(m)
    times.append(time.perf_counter() - t)
print(sorted(times)[5])
`, path).Output()
	if err != nil {
		b.Skip("no OpenCV for /usr/bin/python3 (python3-opencv)")
	}
	seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatalf("OpenCV's script says %q", out)
	}
	b.ReportMetric(seconds*1e9, "ns/op")
}
