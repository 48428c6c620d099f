// Command raster writes the AVX2 rows of package mullion/internal/raster. Run it with
// "go generate ./internal/raster" in the main module; what it writes is committed.
package main

import (
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

func main() {
	ConstraintExpr("amd64")
	weigh()
	mean5()
	mean3()
	mean2()
	halve()
	double()
	slide()
	Generate()
}

// all holds a number in every lane.
func all(v float32) VecVirtual {
	r, x, y := GP32(), XMM(), YMM()
	MOVL(U32(math.Float32bits(v)), r)
	MOVD(r, x)
	VBROADCASTSS(x, y)
	return y
}

func pointers(names ...string) []Register {
	out := make([]Register, len(names))
	for i, n := range names {
		out[i] = Load(Param(n), GP64())
	}
	return out
}

// eights runs body for every eight of n values, with at moving on by that.
func eights(body func(at Register)) {
	n, at := Load(Param("n"), GP64()), GP64()
	XORQ(at, at)
	Label("eights")
	body(at)
	ADDQ(U8(8), at)
	CMPQ(at, n)
	JL(LabelRef("eights"))
	VZEROUPPER()
	RET()
}

func at(base, index Register) Mem { return Mem{Base: base, Index: index, Scale: 4} }

// sum is a + b.
func sum(a, b Op) VecVirtual {
	x, y := load(a), YMM()
	VADDPS(b, x, y)
	return y
}

func load(a Op) VecVirtual {
	if v, ok := a.(VecVirtual); ok {
		return v
	}
	x := YMM()
	VMOVUPS(a, x)
	return x
}

// times multiplies v in place.
func times(v VecVirtual, by Op) VecVirtual {
	VMULPS(by, v, v)
	return v
}

func weigh() {
	TEXT("weighAVX2", 4, "func(dst *float32, rows *[]float32, k *float32, taps, n int)")
	Pragma("noescape")
	Doc("weighAVX2 is weighGo for n samples, a multiple of 32 above 0.")
	dst, rows, k := Load(Param("dst"), GP64()), Load(Param("rows"), GP64()), Load(Param("k"), GP64())
	taps, n, x := Load(Param("taps"), GP64()), Load(Param("n"), GP64()), GP64()
	XORQ(x, x)
	Label("samples")
	var acc [4]VecVirtual
	for i := range acc {
		acc[i] = YMM()
		VXORPS(acc[i], acc[i], acc[i])
	}
	j, row, slice := GP64(), GP64(), GP64()
	XORQ(j, j)
	MOVQ(rows, slice)
	Label("taps")
	MOVQ(Mem{Base: slice}, row)
	ADDQ(U8(24), slice) // the size of a slice
	c := YMM()
	VBROADCASTSS(Mem{Base: k, Index: j, Scale: 4}, c)
	for i := range acc {
		t := YMM()
		VMULPS(Mem{Base: row, Index: x, Scale: 4, Disp: 32 * i}, c, t)
		VADDPS(t, acc[i], acc[i])
	}
	INCQ(j)
	CMPQ(j, taps)
	JL(LabelRef("taps"))
	for i := range acc {
		VMOVUPS(acc[i], Mem{Base: dst, Index: x, Scale: 4, Disp: 32 * i})
	}
	ADDQ(U8(32), x)
	CMPQ(x, n)
	JL(LabelRef("samples"))
	VZEROUPPER()
	RET()
}

func mean5() {
	TEXT("mean5AVX2", 4, "func(dst, a, b, c, d, e *float32, n int)")
	Pragma("noescape")
	Doc("mean5AVX2 is mean5Go for n samples, a multiple of 8 above 0.")
	p := pointers("dst", "a", "b", "c", "d", "e")
	far, near, mid := all(1./16), all(4./16), all(6./16)
	eights(func(x Register) {
		y := times(sum(at(p[1], x), at(p[5], x)), far)
		y = sum(y, times(sum(at(p[2], x), at(p[4], x)), near))
		y = sum(y, times(load(at(p[3], x)), mid))
		VMOVUPS(y, at(p[0], x))
	})
}

func mean3() {
	TEXT("mean3AVX2", 4, "func(dst, a, b, c *float32, n int)")
	Pragma("noescape")
	Doc("mean3AVX2 is mean3Go for n samples, a multiple of 8 above 0.")
	p := pointers("dst", "a", "b", "c")
	far, mid := all(1./8), all(6./8)
	eights(func(x Register) {
		y := times(sum(at(p[1], x), at(p[3], x)), far)
		VMOVUPS(sum(y, times(load(at(p[2], x)), mid)), at(p[0], x))
	})
}

func mean2() {
	TEXT("mean2AVX2", 4, "func(dst, a, b *float32, n int)")
	Pragma("noescape")
	Doc("mean2AVX2 is mean2Go for n samples, a multiple of 8 above 0.")
	p := pointers("dst", "a", "b")
	half := all(0.5)
	eights(func(x Register) {
		VMOVUPS(times(sum(at(p[1], x), at(p[2], x)), half), at(p[0], x))
	})
}

// Of sixteen samples in two vectors, evens takes those at even places and odds those at
// odd ones.
func evens(a, b VecVirtual) VecVirtual { return every(a, b, 0x88) }
func odds(a, b VecVirtual) VecVirtual  { return every(a, b, 0xdd) }

func every(a, b VecVirtual, pick U8) VecVirtual {
	y := YMM()
	VSHUFPS(pick, b, a, y)
	VPERMPD(U8(0xd8), y, y) // the halves of a and b lie between each other
	return y
}

func halve() {
	TEXT("halveAVX2", 4, "func(dst, src *float32, n int)")
	Pragma("noescape")
	Doc("halveAVX2 is halveInner for n samples, a multiple of 8 above 0; it reads 2n + 4 of src.")
	p := pointers("dst", "src")
	far, near, mid := all(1./16), all(4./16), all(6./16)
	src := p[1]
	eights(func(x Register) {
		var v [3][2]VecVirtual
		for i := range v {
			v[i] = [2]VecVirtual{load(Mem{Base: src, Disp: 8 * i}), load(Mem{Base: src, Disp: 8*i + 32})}
		}
		y := times(sum(evens(v[0][0], v[0][1]), evens(v[2][0], v[2][1])), far)
		y = sum(y, times(sum(odds(v[0][0], v[0][1]), odds(v[1][0], v[1][1])), near))
		VMOVUPS(sum(y, times(evens(v[1][0], v[1][1]), mid)), at(p[0], x))
		ADDQ(U8(64), src)
	})
}

func double() {
	TEXT("doubleAVX2", 4, "func(dst, src *float32, n int)")
	Pragma("noescape")
	Doc("doubleAVX2 is doubleInner for n samples, a multiple of 8 above 0.")
	p := pointers("dst", "src")
	far, mid, half := all(1./8), all(6./8), all(0.5)
	dst := p[0]
	eights(func(x Register) {
		a, b, c := load(at(p[1], x)), load(at(p[1], x).Offset(4)), load(at(p[1], x).Offset(8))
		odd := times(sum(b, c), half)
		even := times(sum(a, c), far)
		even = sum(even, times(b, mid))
		lo, hi, first, last := YMM(), YMM(), YMM(), YMM()
		VUNPCKLPS(odd, even, lo)
		VUNPCKHPS(odd, even, hi)
		VPERM2F128(U8(0x20), hi, lo, first)
		VPERM2F128(U8(0x31), hi, lo, last)
		VMOVUPS(first, Mem{Base: dst})
		VMOVUPS(last, Mem{Base: dst, Disp: 32})
		ADDQ(U8(64), dst)
	})
}

func slide() {
	TEXT("slideAVX2", 4, "func(dst, sum, in, out *float32, scale float32, n int)")
	Pragma("noescape")
	Doc("slideAVX2 is slideGo for n samples, a multiple of 8 above 0.")
	p := pointers("dst", "sum", "in", "out")
	s, scale := Load(Param("scale"), XMM()), YMM()
	VBROADCASTSS(s, scale)
	eights(func(x Register) {
		y, z := sum(at(p[1], x), at(p[2], x)), YMM()
		VMULPS(scale, y, z)
		VMOVUPS(z, at(p[0], x))
		VSUBPS(at(p[3], x), y, y)
		VMOVUPS(y, at(p[1], x))
	})
}
