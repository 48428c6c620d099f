package denoise

import "testing"

// Noise is planted in Kodak pictures, in linear light, and taken out: those that the
// thresholds were not set on. PSNR is of sRGB codes.
//
// Reached when this was written, dB, mean of four other pictures on noise that was
// never interpolated, with the best that OpenCV 4.6 reaches on the same pictures when
// its strength is chosen for every picture with the truth in hand
// (fastNlMeansDenoisingColored 7/21 with h = hColor of 0.3 to 1.2 times the noise;
// bilateralFilter of 1.5 to 6 times the noise and 1.5 or 3 pixels):
//
//	electrons at white   noisy   OpenCV NLM   bilateral   here
//	4000                 38.8    38.8         41.1        42.0
//	1000                 32.9    33.8         36.7        37.8
//	150                  23.1    25.8         29.2        30.8
func TestGain(t *testing.T) {
	ws, is := white(t), interpolated(t)
	for _, one := range []struct {
		cam           camera
		white, mosaic float64 // least gain, dB
	}{
		{camera{1000, 6}, 4, 1}, {camera{150, 4}, 6, 3.5},
	} {
		var gain [2]float64
		pics := kodak(t, 3, 6)
		for i, p := range pics {
			n := one.cam.expose(p, uint64(i))
			m := mosaic(t, n, 0.01)
			gain[0] -= psnr(n, p)
			gain[1] -= psnr(m, p)
			apply(t, n, one.cam.model(ws))
			apply(t, m, one.cam.model(is))
			gain[0] += psnr(n, p)
			gain[1] += psnr(m, p)
		}
		for i := range gain {
			gain[i] /= float64(len(pics))
		}
		t.Logf("%g electrons: gain %.2f dB, after interpolation %.2f dB", one.cam.n, gain[0], gain[1])
		if gain[0] < one.white || gain[1] < one.mosaic {
			t.Errorf("%g electrons: gain %.2f dB, after interpolation %.2f dB; want %g and %g", one.cam.n, gain[0], gain[1], one.white, one.mosaic)
		}
	}
}
