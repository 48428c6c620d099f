package denoise

import "testing"

// Noise is planted in Kodak pictures, in linear light, and taken out: those that the
// thresholds were not set on. PSNR is of sRGB codes.
//
// Reached when this was written, dB, mean of the four pictures on noise that was never
// interpolated, with the best that OpenCV 4.6 reaches on the same pictures (other noise
// of the same law) when its strength is chosen for every picture with the truth in hand
// (fastNlMeansDenoisingColored 7/21 with h = hColor of 0.3 to 1.2 times the noise;
// bilateralFilter of 1.5 to 6 times the noise and 1.5 or 3 pixels):
//
//	electrons at white   noisy   OpenCV NLM   bilateral   here    after interpolation, without and with
//	4000                 39.3    39.4         41.9        42.9    36.8   37.7
//	1000                 33.2    34.6         37.5        39.0    32.6   35.0
//	150                  23.2    27.4         30.5        32.4    22.7   28.0
func TestGain(t *testing.T) {
	ws, is := white(t), interpolated(t)
	for _, one := range []struct {
		cam           camera
		white, mosaic float64 // least gain, dB
	}{
		{camera{1000, 6}, 5.3, 2.1}, {camera{150, 4}, 8.6, 4.8},
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
