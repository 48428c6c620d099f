// Package denoise takes out the noise that a picture would show, and leaves alone
// what would not show any.
//
// A merged bracket is clean nearly everywhere: every tone comes from a frame that
// exposed it well. What is left are the darkest corners, single frames and high
// sensitivities. There the merge's own prediction of its noise says how much of the
// picture is chance, so nothing here is guessed from the pixels:
//
//	need       tile by tile, the noise a viewer would see; where there is none the
//	           picture stays as it is, to the last bit
//	stabilise  every sample is bent by the integral of 1/sigma, after which the noise
//	           is 1 everywhere, whatever the exposure
//	rotate     brightness, the direction in which light moves a pixel by the most
//	           noise, and two colours across it, which hold less picture and more noise
//	shrink     overlapping 8 x 8 cosine transforms on four scales; a coefficient is
//	           shrunk by what the noise puts into it after interpolation
//	back       by the inverse that keeps means
//
// The coarse scales are what takes out blotches of colour, which on a lifted shadow
// are worse than grain.
//
// Sources. Variance stabilisation: F. J. Anscombe, Biometrika 35, 1948; for mixed
// noise and with the exact unbiased inverse: M. Makitalo and A. Foi, "Optimal
// inversion of the generalized Anscombe transformation for Poisson-Gaussian noise",
// IEEE Trans. Image Process. 22(1), 2013. Sliding cosine transforms: G. Yu and
// G. Sapiro, "DCT image denoising", Image Processing On Line 1, 2011; on several
// scales: N. Pierazzo, J.-M. Morel and G. Facciolo, "Multi-scale DCT denoising",
// Image Processing On Line 7, 2017. The shrinkage is the garrote of H.-Y. Gao,
// "Wavelet shrinkage denoising using the non-negative garrote", J. Comput. Graph.
// Stat. 7(4), 1998; blocks are averaged by how little they kept (K. Dabov et al.,
// IEEE Trans. Image Process. 16(8), 2007).
package denoise

import (
	"context"
	"errors"

	"mullion/internal/raster"
)

// Model is what is known about the noise of an image.
type Model struct {
	// Variance of a sample by its expected value, in the image's unit squared; above 0
	// everywhere. At and below 0 it is the noise of black.
	Variance func(v float32) float32
	// Louder is by how much the standard deviation at a pixel is above that, 1 or more: what
	// moved is shown from one frame alone. Nil is 1 everywhere.
	Louder func(x, y int) float32
	// Clip is the value at which samples clip: what is near it is left alone.
	Clip float32
	// Spectrum tells how the noise spreads over scales and channels. It is asked only
	// when there is something to do.
	Spectrum func() (*Spectrum, error)
}

// Report says what was done.
type Report struct {
	Share float64 // of the picture in which noise was to be seen, 0..1
	Shown float64 // standard deviation of the noise at the 95th percentile of the picture, in L* as a viewer would see it
}

// Apply takes the visible noise out of img, in place. img is linear camera RGB, or any
// linear RGB whose channels are independent before interpolation; its values may be
// negative around black. Where no noise would be seen img is not touched.
//
// It fails when the model is no model, and with the context's error when it stops;
// img is then partly worked.
func Apply(ctx context.Context, img *raster.RGB, m Model) (Report, error) {
	if m.Variance == nil || m.Spectrum == nil || !(m.Clip > 0) || !(m.Variance(0) > 0) {
		return Report{}, errors.New("denoise: the noise model needs a variance above 0, a clipping value and a spectrum")
	}
	n, err := findNeed(ctx, img, &m)
	if err != nil || n.share == 0 {
		return n.report(), err
	}
	spectrum, err := m.Spectrum()
	if err != nil {
		return n.report(), err
	}
	w := &work{img: img, need: n, clip: m.Clip, stab: newStabiliser(m.Variance, m.Clip), basis: rotation(n.snr)}
	w.sizes(spectrum)
	if err := w.split(ctx); err != nil {
		return n.report(), err
	}
	defer w.release()
	for l := scales - 1; l > 0; l-- {
		if err := w.coarse(ctx, l); err != nil {
			return n.report(), err
		}
	}
	return n.report(), w.fine(ctx)
}
