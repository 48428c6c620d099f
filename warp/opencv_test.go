package warp

import (
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// opencv runs a script that prints the seconds of one operation, with OpenCV as
// the system's Python has it, and reports them; it skips where there is none.
func opencv(b *testing.B, script string) {
	out, err := exec.Command("/usr/bin/python3", "-c", script).Output()
	if err != nil {
		b.Skip("no OpenCV for /usr/bin/python3 (python3-opencv)")
	}
	seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatalf("OpenCV's script says %q", out)
	}
	b.ReportMetric(seconds*1e9, "ns/op")
}

// What BenchmarkApply24MP is to be read beside: the same perspective by OpenCV's
// warpPerspective, Lanczos over 8 x 8 pixels, linear light (it rings), no lens.
func BenchmarkOpenCVWarpPerspective24MP(b *testing.B) {
	opencv(b, `
import time, cv2, numpy as np
m = [np.random.rand(4000, 6000).astype(np.float32) for _ in range(3)]
h = np.array([[1.02, .01, -50], [.01, 1.02, -40], [1e-6, 8e-6, 1]])
times = []
for _ in range(4):
    t = time.perf_counter()
    for p in m:
        cv2.warpPerspective(p, h, (6000, 4000), flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP)
    times.append(time.perf_counter() - t)
print(sorted(times[1:])[1])
`)
}

// The same with a lens: OpenCV's remap, whose maps are made beforehand.
func BenchmarkOpenCVRemap24MP(b *testing.B) {
	opencv(b, `
import time, cv2, numpy as np
m = [np.random.rand(4000, 6000).astype(np.float32) for _ in range(3)]
y, x = np.mgrid[:4000, :6000].astype(np.float32)
q = ((x - 3000) ** 2 + (y - 2000) ** 2) / 2333 ** 2
x, y = (3000 + (x - 3000) * (1 - .055 * q)).astype(np.float32), (2000 + (y - 2000) * (1 - .055 * q)).astype(np.float32)
times = []
for _ in range(4):
    t = time.perf_counter()
    for p in m:
        cv2.remap(p, x, y, cv2.INTER_LANCZOS4)
    times.append(time.perf_counter() - t)
print(sorted(times[1:])[1])
`)
}
