// Command tone writes the AVX2 rows of package mullion/tone. Run it with
// "go generate ./tone" in the main module; what it writes is committed.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// As in tone/apply.go, gamut.go, scene.go and laplacian.go.
const (
	rr, rg, rb  = 1.660491, -0.587641, -0.072850
	gr, gg, gb  = -0.124550, 1.132900, -0.008349
	br, bg, bb  = -0.018151, -0.100579, 1.118730
	whiteKnee   = 0.12
	keepSlope   = 0.7
	fade        = 0.35
	peak        = 0.957
	chromaKnee  = 0.8
	black       = 1. / (1 << 24)
	middle      = 1.41421356
	exponentAt1 = 127
	sigma       = 0.8
)

func main() {
	ConstraintExpr("amd64")
	applyRow()
	remapRow()
	addNear()
	Generate()
}

var constants = map[uint32]Mem{}

// bits are 32 bits in every lane, in memory, since registers are few.
func bits(v uint32) Mem {
	if m, ok := constants[v]; ok {
		return m
	}
	m := GLOBL(fmt.Sprintf("all%08x", v), RODATA|NOPTR)
	for lane := range 8 {
		DATA(4*lane, U32(v))
	}
	constants[v] = m
	return m
}

func all(v float32) Mem { return bits(math.Float32bits(v)) }

func load(m Mem) VecVirtual             { y := YMM(); VMOVUPS(m, y); return y }
func add(a Op, b VecVirtual) VecVirtual { y := YMM(); VADDPS(a, b, y); return y }
func sub(a VecVirtual, b Op) VecVirtual { y := YMM(); VSUBPS(b, a, y); return y }
func mul(a Op, b VecVirtual) VecVirtual { y := YMM(); VMULPS(a, b, y); return y }

// mix is a sum of the three with weights, from the left.
func mix(a, b, c VecVirtual, u, v, w float32) VecVirtual {
	return add(mul(all(w), c), add(mul(all(v), b), mul(all(u), a)))
}

// series is a polynomial in x, constant first.
func series(x VecVirtual, c ...float32) VecVirtual {
	y := load(all(c[len(c)-1]))
	for i := len(c) - 2; i >= 0; i-- {
		y = add(all(c[i]), mul(y, x))
	}
	return y
}

func log2(x VecVirtual) VecVirtual {
	v, e, m := YMM(), YMM(), YMM()
	VMAXPS(all(black), x, v) // a NaN gives the second of Intel's operands, black
	VPSRLD(U8(23), v, e)
	VPSUBD(bits(exponentAt1), e, e)
	VCVTDQ2PS(e, e)
	VANDPS(bits(0x7fffff), v, m)
	VORPS(bits(0x3f800000), m, m)
	t := sub(m, all(middle))
	VDIVPS(add(all(middle), m), t, t)
	return add(mul(series(mul(t, t), 2.8853901, 0.96179669, 0.57707802), t), add(all(0.5), e))
}

func exp2(x VecVirtual) VecVirtual {
	v, n, f, none := YMM(), YMM(), YMM(), YMM()
	VMINPS(all(60), x, v)
	VCVTTPS2DQ(add(all(1024), v), n)
	VPSUBD(bits(1024), n, n)
	VCVTDQ2PS(n, f)
	p := series(sub(v, f), 1, 0.6931472, 0.2402265, 0.0555041, 0.0096181, 0.0013333)
	VPADDD(bits(exponentAt1), n, n)
	VPSLLD(U8(23), n, n)
	VMULPS(n, p, p)
	VCMPPS(U8(less), all(-60), x, none)
	VANDNPS(p, none, p)
	return p
}

// Comparisons that are false for what is not a number.
const less, greater, unordered = 0x11, 0x1e, 0x03

// none jumps to the label when no lane of mask is set.
func none(mask VecVirtual, label string) {
	r := GP32()
	VMOVMSKPS(mask, r)
	TESTL(r, r)
	JZ(LabelRef(label))
}

func applyRow() {
	TEXT("applyRowAVX2", 4, "func(red, green, blue, fa, fb *float32, beyond *byte, n int)")
	Pragma("noescape")
	Doc("applyRowAVX2 is applyRowGo but for the gamut, for n pixels, a multiple of 8 above 0: beyond has a bit for every pixel that is near or beyond its edge.")
	rows := [3]Register{Load(Param("red"), GP64()), Load(Param("green"), GP64()), Load(Param("blue"), GP64())}
	fa, fb, beyond := Load(Param("fa"), GP64()), Load(Param("fb"), GP64()), Load(Param("beyond"), GP64())
	n, x := Load(Param("n"), GP64()), GP64()
	at := func(p Register) Mem { return Mem{Base: p, Index: x, Scale: 4} }
	XORQ(x, x)
	Label("eights")
	r, g, b := load(at(rows[0])), load(at(rows[1])), load(at(rows[2]))
	y := mix(r, g, b, 0.2627, 0.6780, 0.0593)
	l := log2(y)
	slope := load(at(fa))
	o := add(at(fb), add(mul(slope, l), l))
	over := YMM()
	VCMPPS(U8(greater), all(-whiteKnee), o, over)
	none(over, "dark")
	bent := mul(all(-whiteKnee), exp2(mul(all(-1.442695/whiteKnee), add(all(whiteKnee), o))))
	VBLENDVPS(over, bent, o, o)
	Label("dark")
	k := exp2(sub(o, l))
	r, g, b, y = mul(k, r), mul(k, g), mul(k, b), mul(k, y)
	c := [3]VecVirtual{mix(r, g, b, rr, rg, rb), mix(r, g, b, gr, gg, gb), mix(r, g, b, br, bg, bb)}
	contrast, flat := add(all(1), slope), YMM()
	VCMPPS(U8(less), all(keepSlope), contrast, flat)
	none(flat, "vivid")
	zero := YMM()
	VXORPS(zero, zero, zero)
	VMAXPS(zero, contrast, contrast)
	sat := sub(load(all(1)), mul(all(fade), sub(load(all(keepSlope)), contrast)))
	for i := range c {
		VBLENDVPS(flat, add(mul(sat, sub(c[i], y)), y), c[i], c[i])
	}
	Label("vivid")
	lo := mul(all(1-chromaKnee), y)
	hi := add(mul(all(chromaKnee), sub(load(all(peak)), y)), y)
	out := YMM()
	VCMPPS(U8(unordered), y, y, out)
	for i := range c {
		test := YMM()
		VCMPPS(U8(less), lo, c[i], test)
		VORPS(test, out, out)
		VCMPPS(U8(greater), hi, c[i], test)
		VORPS(test, out, out)
		VMOVUPS(c[i], at(rows[i]))
	}
	m := GP32()
	VMOVMSKPS(out, m)
	MOVB(m.As8(), Mem{Base: beyond})
	INCQ(beyond)
	ADDQ(U8(8), x)
	CMPQ(x, n)
	JL(LabelRef("eights"))
	VZEROUPPER()
	RET()
}

// spread is a parameter of 32 bits in every lane.
func spread(name string) VecVirtual {
	x, y := XMM(), YMM()
	Load(Param(name), x)
	VBROADCASTSS(x, y)
	return y
}

func spreadBits(name string) VecVirtual {
	x, y := XMM(), YMM()
	VMOVD(Load(Param(name), GP32()), x)
	VPBROADCASTD(x, y)
	return y
}

func remapRow() {
	TEXT("remapRowAVX2", 4, "func(dst, src, curved *float32, level, gain float32, n int)")
	Pragma("noescape")
	Doc("remapRowAVX2 is remapRowGo for n samples, a multiple of 8 above 0.")
	dst, src, curved := Load(Param("dst"), GP64()), Load(Param("src"), GP64()), Load(Param("curved"), GP64())
	g, gain := spread("level"), spread("gain")
	one, slope := load(all(1)), load(all(1/sigma))
	n, x := Load(Param("n"), GP64()), GP64()
	at := func(p Register) Mem { return Mem{Base: p, Index: x, Scale: 4} }
	XORQ(x, x)
	Label("remapEights")
	t := mul(slope, sub(load(at(src)), g))
	over := add(one, mul(t, t))
	bump := mul(gain, t)
	VDIVPS(over, bump, bump)
	VMOVUPS(add(at(curved), bump), at(dst))
	ADDQ(U8(8), x)
	CMPQ(x, n)
	JL(LabelRef("remapEights"))
	VZEROUPPER()
	RET()
}

func addNear() {
	TEXT("addNearAVX2", 4, "func(out, gauss, p, up *float32, weight, level, inv float32, first, final uint32, n int)")
	Pragma("noescape")
	Doc("addNearAVX2 is addNearGo for n samples, a multiple of 8 above 0; first and final are all ones for true.")
	out, gauss := Load(Param("out"), GP64()), Load(Param("gauss"), GP64())
	p, up := Load(Param("p"), GP64()), Load(Param("up"), GP64())
	weight, g, inv := spread("weight"), spread("level"), spread("inv")
	first, final := spreadBits("first"), spreadBits("final")
	one, zero := load(all(1)), YMM()
	VXORPS(zero, zero, zero)
	n, x := Load(Param("n"), GP64()), GP64()
	at := func(p Register) Mem { return Mem{Base: p, Index: x, Scale: 4} }
	XORQ(x, x)
	Label("nearEights")
	d := mul(inv, sub(load(at(gauss)), g))
	under, end, near := YMM(), YMM(), YMM()
	VCMPPS(U8(less), zero, d, under)
	VBLENDVPS(under, first, final, end)
	VANDPS(bits(0x7fffffff), d, d)
	VANDNPS(d, end, d)
	VCMPPS(U8(less), one, d, near)
	none(near, "far")
	term := mul(sub(load(at(p)), at(up)), mul(weight, sub(one, d)))
	VANDPS(near, term, term)
	VMOVUPS(add(at(out), term), at(out))
	Label("far")
	ADDQ(U8(8), x)
	CMPQ(x, n)
	JL(LabelRef("nearEights"))
	VZEROUPPER()
	RET()
}
