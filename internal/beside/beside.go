// Package beside runs what well-known libraries make of the same work, for benchmarks
// that ours are to be read beside: on the same machine and in the same run.
package beside

import (
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// OpenCV runs a script with OpenCV as the system's Python has it. The script sets up its
// data and defines once(), which is run three times after a first; the median of wall
// time is reported as ns/op, that of processor time as cpu-ms/op. The benchmark is skipped
// where there is no OpenCV.
func OpenCV(b *testing.B, script string) {
	b.Helper()
	if exec.Command("/usr/bin/python3", "-c", "import cv2").Run() != nil {
		b.Skip("no OpenCV for /usr/bin/python3 (python3-opencv)")
	}
	out, err := exec.Command("/usr/bin/python3", "-c", "import time, cv2, numpy as np\n"+script+`
times = []
for _ in range(4):
    t, c = time.perf_counter(), time.process_time()
    once()
    times.append((time.perf_counter() - t, time.process_time() - c))
times = times[1:]
print(sorted(t for t, _ in times)[1], sorted(c for _, c in times)[1])
`).Output()
	if err != nil {
		b.Fatalf("OpenCV's script failed: %v", err)
	}
	var seconds [2]float64
	for i, f := range strings.Fields(string(out)) {
		if seconds[i%2], err = strconv.ParseFloat(f, 64); err != nil {
			b.Fatalf("OpenCV's script says %q", out)
		}
	}
	b.ReportMetric(seconds[0]*1e9, "ns/op")
	b.ReportMetric(seconds[1]*1e3, "cpu-ms/op")
}
