package finish

import (
	"testing"

	"mullion/internal/beside"
)

// What a chain of OpenCV's operations takes for one view of five frames of 24 megapixels:
// to be read beside Benchmark24MP, whose stations the log names with their seconds.
// Decoding is in package rawfile, the resampling in package warp, lines in package lines.

// bracket24 is five exposures of 8-bit pictures, a stop apart.
const bracket24 = `
rng = np.random.default_rng(1)
base = cv2.GaussianBlur(rng.random((4000, 6000, 3), dtype=np.float32), (0, 0), 5)
base = (base - base.min()) / (base.max() - base.min())
frames = [np.clip(base * 2.0 ** e * 255, 0, 255).astype(np.uint8) for e in range(-2, 3)]
times_s = np.array([2.0 ** e for e in range(-2, 3)], dtype=np.float32)
del base
`

func BenchmarkOpenCVAlign24MP(b *testing.B) {
	beside.OpenCV(b, bracket24+`
align = cv2.createAlignMTB()
def once(): align.process(frames, [f.copy() for f in frames])
`)
}

func BenchmarkOpenCVMergeDebevec24MP(b *testing.B) {
	beside.OpenCV(b, bracket24+`
merge = cv2.createMergeDebevec()
def once(): merge.process(frames, times_s)
`)
}

func BenchmarkOpenCVMergeMertens24MP(b *testing.B) {
	beside.OpenCV(b, bracket24+`
merge = cv2.createMergeMertens()
def once(): merge.process(frames)
`)
}

func BenchmarkOpenCVDemosaic24MP(b *testing.B) {
	beside.OpenCV(b, `
mosaic = np.random.default_rng(1).integers(0, 16383, (4000, 6000), dtype=np.uint16)
def once(): cv2.demosaicing(mosaic, cv2.COLOR_BayerBG2BGR_EA)
`)
}

func BenchmarkOpenCVTone24MP(b *testing.B) {
	beside.OpenCV(b, `
radiance = np.random.default_rng(1).random((4000, 6000, 3), dtype=np.float32) + .01
tone = cv2.createTonemapReinhard(2.2)
def once(): tone.process(radiance)
`)
}

// Reduced to 2048 pixels, sharpened and coded, as a listing's file is.
func BenchmarkOpenCVDeliver24MP(b *testing.B) {
	beside.OpenCV(b, `
picture = np.random.default_rng(1).integers(0, 255, (4000, 6000, 3), dtype=np.uint8)
picture = cv2.GaussianBlur(picture, (0, 0), 2)
def once():
    small = cv2.resize(picture, (2048, 1365), interpolation=cv2.INTER_AREA)
    small = cv2.addWeighted(small, 1.5, cv2.GaussianBlur(small, (0, 0), 1), -.5, 0)
    cv2.imencode('.jpg', small, [cv2.IMWRITE_JPEG_QUALITY, 90])
`)
}
