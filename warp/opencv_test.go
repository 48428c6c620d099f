package warp

import (
	"testing"

	"mullion/internal/beside"
)

// What BenchmarkApply24MP is to be read beside: the same perspective by OpenCV's
// warpPerspective, Lanczos over 8 x 8 pixels, linear light (it rings), no lens.
func BenchmarkOpenCVWarpPerspective24MP(b *testing.B) {
	beside.OpenCV(b, `
m = [np.random.rand(4000, 6000).astype(np.float32) for _ in range(3)]
h = np.array([[1.02, .01, -50], [.01, 1.02, -40], [1e-6, 8e-6, 1]])
def once():
    for p in m:
        cv2.warpPerspective(p, h, (6000, 4000), flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP)
`)
}

// The same with a lens: OpenCV's remap, whose maps are made beforehand.
func BenchmarkOpenCVRemap24MP(b *testing.B) {
	beside.OpenCV(b, `
m = [np.random.rand(4000, 6000).astype(np.float32) for _ in range(3)]
y, x = np.mgrid[:4000, :6000].astype(np.float32)
q = ((x - 3000) ** 2 + (y - 2000) ** 2) / 2333 ** 2
x, y = (3000 + (x - 3000) * (1 - .055 * q)).astype(np.float32), (2000 + (y - 2000) * (1 - .055 * q)).astype(np.float32)
def once():
    for p in m:
        cv2.remap(p, x, y, cv2.INTER_LANCZOS4)
`)
}
