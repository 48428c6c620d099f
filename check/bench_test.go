package check

import (
	"testing"

	"mullion/finish"
	"mullion/rawfile"
	"mullion/simcam"
)

// BenchmarkView is one view of five raw frames of two megapixels from files to verdict.
func BenchmarkView(b *testing.B) {
	dir := b.TempDir()
	if _, err := simcam.LF1().ShootFaulty(b.Context(), dir, scenes(b, "dining"), simcam.Defaults(), nil); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Run(b.Context(), dir, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkShrink24 is what the check adds to the decoding of one frame of 24 megapixels.
func BenchmarkShrink24(b *testing.B) {
	const w, h = 6000, 4000
	m := &rawfile.Mosaic{W: w, H: h, Pix: make([]uint16, w*h), CFA: [2][2]uint8{{0, 1}, {1, 2}}, White: 16383}
	for i := range m.Pix {
		m.Pix[i] = uint16(2000 + i%977*8)
	}
	f := &rawfile.Frame{Kind: rawfile.KindMosaic, Mosaic: m}
	b.SetBytes(2 * w * h)
	for b.Loop() {
		s, err := shrink(b.Context(), f)
		if err != nil {
			b.Fatal(err)
		}
		s.release()
	}
}

// BenchmarkLook is everything after the frames are reduced.
func BenchmarkLook(b *testing.B) {
	dir := b.TempDir()
	if _, err := simcam.LF1().ShootFaulty(b.Context(), dir, scenes(b, "dining"), simcam.Defaults(), nil); err != nil {
		b.Fatal(err)
	}
	survey, err := finish.Look(b.Context(), dir, nil)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		b.StopTimer()
		frames := loadAll(b.Context(), survey, survey.Views[0])
		b.StartTimer()
		v, err := look(b.Context(), frames)
		if err != nil {
			b.Fatal(err)
		}
		v.release()
	}
}
