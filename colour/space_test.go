package colour

import (
	"math"
	"math/rand/v2"
	"testing"
)

// IEC 61966-2-1 and ITU-R BT.2087 print these to four digits.
func TestMatrices(t *testing.T) {
	nearMat(t, "sRGB to XYZ (IEC 61966-2-1)", SRGBToXYZ, Mat3{{.4124, .3576, .1805}, {.2126, .7152, .0722}, {.0193, .1192, .9505}}, 6e-5)
	nearMat(t, "BT.709 to BT.2020 (ITU-R BT.2087-0)", SRGBToBT2020, Mat3{{.6274, .3293, .0433}, {.0691, .9195, .0114}, {.0164, .0880, .8956}}, 6e-5)
	nearVec(t, "luma of BT.2020 (ITU-R BT.2020-2)", BT2020ToXYZ[1], Vec3{.2627, .6780, .0593}, 5e-5)
	nearVec(t, "white", BT2020ToXYZ.Apply(Vec3{1, 1, 1}), D65.XYZ(), 1e-12)
	nearMat(t, "there and back", SRGBToBT2020.Mul(BT2020ToSRGB), Identity, 1e-12)
}

func TestUVRoundTrip(t *testing.T) {
	u, v := D65.UV()
	near(t, "u of D65 (CIE 15)", u, .1978, 5e-5)
	near(t, "v of D65 (CIE 15)", v, .3122, 5e-5)
	c := FromUV(u, v)
	near(t, "x", c.X, D65.X, 1e-12)
	near(t, "y", c.Y, D65.Y, 1e-12)
}

// IEC 61966-2-1: linear values of codes and codes of linear values; 0.18 is
// published to 15 digits (colour-science's test_srgb).
func TestSRGB(t *testing.T) {
	for code, lin := range map[float64]float64{1: .000304, 10: .003035, 11: .003347, 55: .038204, 118: .181164, 119: .184475, 128: .215861, 186: .491021, 188: .502886, 200: .577580, 255: 1} {
		near(t, "decode", DecodeSRGB(code/255), lin, 1e-6)
	}
	for lin, code := range map[float64]float64{.01: 25, .05: 63, .1: 89, .18: 118, .2: 124, .5: 188, .9: 243} {
		near(t, "encode", math.Round(255*EncodeSRGB(lin)), code, 0)
	}
	near(t, "encode .18", EncodeSRGB(.18), .461356129500442, 1e-12)
	for c := -1.0; c <= 2; c += .01 {
		near(t, "round trip", EncodeSRGB(DecodeSRGB(c)), c, 1e-6)
	}
}

func TestSRGBRows(t *testing.T) {
	src := []float32{-1, 0, 1e-9, .002, .0031308, 1. / 512, .99999994, 1, 7, float32(math.NaN()), float32(math.Inf(1))}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		src = append(src, float32(math.Exp(-8*rng.Float64())))
	}
	enc, dec := make([]float32, len(src)), make([]float32, len(src))
	EncodeSRGBRow(enc, src)
	DecodeSRGBRow(dec, src)
	for i, x := range src {
		v := float64(x)
		if !(v > 0) {
			v = 0
		}
		v = math.Min(1, v)
		near(t, "encoded row", float64(enc[i]), EncodeSRGB(v), 1e-5)
		near(t, "decoded row", float64(dec[i]), DecodeSRGB(v), 1e-6)
	}
}

func TestApplyRow(t *testing.T) {
	r, g, b := []float32{1, .2, 0}, []float32{1, .5, 0}, []float32{1, .9, 0}
	BT2020ToSRGB.ApplyRow(r, g, b)
	nearVec(t, "white", Vec3{float64(r[0]), float64(g[0]), float64(b[0])}, Vec3{1, 1, 1}, 1e-6)
	nearVec(t, "colour", Vec3{float64(r[1]), float64(g[1]), float64(b[1])}, BT2020ToSRGB.Apply(Vec3{.2, .5, .9}), 1e-6)
}

func BenchmarkEncodeSRGBRow(b *testing.B) { benchRow(b, EncodeSRGBRow) }
func BenchmarkDecodeSRGBRow(b *testing.B) { benchRow(b, DecodeSRGBRow) }

func benchRow(b *testing.B, fn func(dst, src []float32)) {
	src, dst := make([]float32, 6000), make([]float32, 6000)
	for i := range src {
		src[i] = float32(i) / 6000
	}
	b.SetBytes(int64(4 * len(src)))
	for b.Loop() {
		fn(dst, src)
	}
}
