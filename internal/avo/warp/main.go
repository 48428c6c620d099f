// Command warp writes the AVX2 rows of package mullion/warp. Run it with
// "go generate ./warp" in the main module; what it writes is committed.
package main

import (
	"fmt"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

func main() {
	ConstraintExpr("amd64")
	encode()
	decode()
	row6()
	for vectors := range 3 {
		rowWide(vectors + 1)
	}
	extremes()
	bound()
	Generate()
}

// all loads a float32, given by its bits, into every lane.
func all(bits uint32) VecVirtual {
	r, x, y := GP32(), XMM(), YMM()
	MOVL(U32(bits), r)
	MOVD(r, x)
	VBROADCASTSS(x, y)
	return y
}

// each runs body for every eight of n values.
func each(name string, body func()) {
	n := Load(Param("n"), GP64())
	Label(name)
	body()
	SUBQ(U8(8), n)
	JNZ(LabelRef(name))
	VZEROUPPER()
	RET()
}

func encode() {
	TEXT("encodeAVX2", 4, "func(dst, src *float32, n int, pedestal float32)")
	Pragma("noescape")
	Doc("encodeAVX2 is encodeRow for n values, a multiple of 8 above 0.")
	dst, src := Load(Param("dst"), GP64()), Load(Param("src"), GP64())
	ped := YMM()
	p := Load(Param("pedestal"), XMM())
	VBROADCASTSS(p, ped)
	least, most := all(0x0d800000), all(0x7f000000) // 2^-100, 2^127
	mantissa, one, four, third := all(0x007fffff), all(0x3f800000), all(0x40800000), all(0x3eaaaaab)
	bias := all(127)
	each("encode", func() {
		v, e, m, q := YMM(), YMM(), YMM(), YMM()
		VADDPS(Mem{Base: src}, ped, v)
		VMAXPS(least, v, v) // a NaN gives the second of Intel's operands, least
		VMINPS(most, v, v)
		VPSRLD(U8(23), v, e)
		VPSUBD(bias, e, e)
		VCVTDQ2PS(e, e)
		VANDPS(mantissa, v, m)
		VORPS(one, m, m)
		VSUBPS(one, m, m)
		VSUBPS(m, four, q)
		VMULPS(q, m, m)
		VFMADD231PS(third, m, e)
		VMOVUPS(e, Mem{Base: dst})
		ADDQ(U8(32), src)
		ADDQ(U8(32), dst)
	})
}

func decode() {
	TEXT("decodeAVX2", 4, "func(dst *float32, n int, pedestal float32)")
	Pragma("noescape")
	Doc("decodeAVX2 is decodeRow for n values, a multiple of 8 above 0.")
	dst := Load(Param("dst"), GP64())
	ped := YMM()
	p := Load(Param("pedestal"), XMM())
	VBROADCASTSS(p, ped)
	most, least := all(0x42fe0000), all(0xc2fc0000) // 127, -126
	three, four := all(0x40400000), all(0x40800000)
	three2, bias := all(0x40400000), all(127)
	each("decode", func() {
		c, e, f, ok := YMM(), YMM(), YMM(), YMM()
		VMOVUPS(Mem{Base: dst}, c)
		VMINPS(most, c, c)
		VROUNDPS(U8(9), c, e)
		VCMPPS(U8(13), least, e, ok) // e >= least
		VSUBPS(e, c, f)
		VFNMADD213PS(four, three, f) // 4 - 3 f
		VSQRTPS(f, f)
		VSUBPS(f, three2, f) // 1 + m = 3 - root
		VCVTPS2DQ(e, e)
		VPADDD(bias, e, e)
		VPSLLD(U8(23), e, e)
		VMULPS(e, f, f)
		VANDPS(ok, f, f)
		VSUBPS(ped, f, f)
		VMOVUPS(f, Mem{Base: dst})
		ADDQ(U8(32), dst)
	})

}

// sum adds the eight lanes of y into lane 0 of the result.
func sum(y VecVirtual) VecVirtual {
	x, h := y.AsX(), XMM()
	VEXTRACTF128(U8(1), y, h)
	s, t := XMM(), XMM()
	VADDPS(h, x, s)
	VMOVHLPS(s, s, t)
	VADDPS(t, s, s)
	VMOVSHDUP(s, t)
	VADDSS(t, s, s)
	return s
}

// place loads one place: the block's address and the weights of both phases.
func place(places, block, w Register, size uint8) (at, wx, wy GPVirtual) {
	at, wx, wy = GP64(), GP64(), GP64()
	MOVLQSX(Mem{Base: places}, at)
	LEAQ(Mem{Base: block, Index: at, Scale: 4}, at)
	MOVBQZX(Mem{Base: places, Disp: 4}, wx)
	MOVBQZX(Mem{Base: places, Disp: 5}, wy)
	IMUL3Q(U8(4*size), wx, wx)
	IMUL3Q(U8(4*size), wy, wy)
	ADDQ(w, wx)
	return at, wx, wy
}

func row6() {
	TEXT("row6AVX2", 4, "func(out, block *float32, stride int, places *int32, w *float32, n int, overshoot float32)")
	Pragma("noescape")
	Doc("row6AVX2 is row6 for n pixels; w holds eight weights a phase, the last two 0.")
	out, block := Load(Param("out"), GP64()), Load(Param("block"), GP64())
	stride, places := Load(Param("stride"), GP64()), Load(Param("places"), GP64())
	w, n := Load(Param("w"), GP64()), Load(Param("n"), GP64())
	over := Load(Param("overshoot"), XMM())
	SHLQ(U8(2), stride)
	Label("pixel")
	at, wx, wy := place(places, block, w, 8)
	ADDQ(w, wy)
	a, b, y := YMM(), YMM(), YMM()
	var mid [2]VecVirtual
	for j := range 6 {
		VBROADCASTSS(Mem{Base: wy, Disp: 4 * j}, y)
		row := YMM()
		if j == 2 || j == 3 {
			mid[j-2] = row
		}
		VMOVUPS(Mem{Base: at}, row)
		switch j {
		case 0:
			VMULPS(row, y, a)
		case 1:
			VMULPS(row, y, b)
		case 2, 4:
			VFMADD231PS(row, y, a)
		default:
			VFMADD231PS(row, y, b)
		}
		if j < 5 {
			ADDQ(stride, at)
		}
	}
	VADDPS(b, a, a)
	VMULPS(Mem{Base: wx}, a, a)
	v := sum(a)
	lo, hi, t := XMM(), XMM(), XMM()
	VMINPS(mid[0].AsX(), mid[1].AsX(), lo)
	VMAXPS(mid[0].AsX(), mid[1].AsX(), hi)
	VMOVHLPS(lo, lo, lo)
	VMOVSHDUP(lo, t)
	VMINSS(t, lo, lo)
	VSUBSS(over, lo, lo)
	VMOVHLPS(hi, hi, hi)
	VMOVSHDUP(hi, t)
	VMAXSS(t, hi, hi)
	VADDSS(over, hi, hi)
	VMAXSS(lo, v, v)
	VMINSS(hi, v, v)
	VMOVSS(v, Mem{Base: out})
	ADDQ(U8(4), out)
	ADDQ(U8(8), places)
	SUBQ(U8(1), n)
	JNZ(LabelRef("pixel"))
	VZEROUPPER()
	RET()
}

// rowWide writes a row of kernels of up to so many vectors of eight taps.
func rowWide(vectors int) {
	name := fmt.Sprintf("row%d", 8*vectors)
	TEXT(name+"AVX2", 4, "func(out, block *float32, stride int, places *int32, wx, wy *float32, rows, n int)")
	Pragma("noescape")
	Doc(fmt.Sprintf("%sAVX2 sums kernels of up to %d x rows weights for n pixels; wx and wy hold 24 weights a phase.", name, 8*vectors))
	out, block := Load(Param("out"), GP64()), Load(Param("block"), GP64())
	stride, places := Load(Param("stride"), GP64()), Load(Param("places"), GP64())
	px, py := Load(Param("wx"), GP64()), Load(Param("wy"), GP64())
	rows, n := Load(Param("rows"), GP64()), Load(Param("n"), GP64())
	SHLQ(U8(2), stride)
	Label("pixel")
	at, wx, wy := place(places, block, px, 24)
	ADDQ(py, wy)
	y, left := YMM(), GP64()
	acc := make([]VecVirtual, vectors)
	for i := range acc {
		acc[i] = YMM()
		VXORPS(acc[i], acc[i], acc[i])
	}
	MOVQ(rows, left)
	Label("tap")
	VBROADCASTSS(Mem{Base: wy}, y)
	for i := range acc {
		VFMADD231PS(Mem{Base: at, Disp: 32 * i}, y, acc[i])
	}
	ADDQ(stride, at)
	ADDQ(U8(4), wy)
	SUBQ(U8(1), left)
	JNZ(LabelRef("tap"))
	a := acc[0]
	VMULPS(Mem{Base: wx}, a, a)
	for i := 1; i < vectors; i++ {
		VFMADD231PS(Mem{Base: wx, Disp: 32 * i}, acc[i], a)
	}
	VMOVSS(sum(a), Mem{Base: out})
	ADDQ(U8(4), out)
	ADDQ(U8(8), places)
	SUBQ(U8(1), n)
	JNZ(LabelRef("pixel"))
	VZEROUPPER()
	RET()
}

func extremes() {
	TEXT("extremesAVX2", 4, "func(lo, hi, block *float32, stride int, places *int32, second, rows, n int)")
	Pragma("noescape")
	Doc("extremesAVX2 finds the extremes of a window of 4 + second columns (second up to 4) by so many rows for n places.")
	second := func() Register { return Load(Param("second"), GP64()) }
	window("window", second, func(at Mem, x VecVirtual) { VMOVUPS(at, x) })
	TEXT("extremes2AVX2", 4, "func(lo, hi, block *float32, stride int, places *int32, rows, n int)")
	Pragma("noescape")
	Doc("extremes2AVX2 is the same for a window of two columns.")
	window("window2", nil, func(at Mem, x VecVirtual) { VMOVDDUP(at, x) })
}

// window writes the body of the extremes: load brings four columns of a row, or two of
// them twice; second, if any, is where the last four begin.
func window(name string, second func() Register, load func(Mem, VecVirtual)) {
	lo, hi, block := Load(Param("lo"), GP64()), Load(Param("hi"), GP64()), Load(Param("block"), GP64())
	stride, places := Load(Param("stride"), GP64()), Load(Param("places"), GP64())
	var off Register
	if second != nil {
		off = second()
	}
	rows, n := Load(Param("rows"), GP64()), Load(Param("n"), GP64())
	SHLQ(U8(2), stride)
	Label(name)
	at, left := GP64(), GP64()
	MOVLQSX(Mem{Base: places}, at)
	LEAQ(Mem{Base: block, Index: at, Scale: 4}, at)
	a, b, p, q := XMM(), XMM(), XMM(), XMM()
	load(Mem{Base: at}, a)
	VMOVAPS(a, b)
	MOVQ(rows, left)
	Label(name + "Row")
	load(Mem{Base: at}, p)
	VMINPS(p, a, a)
	VMAXPS(p, b, b)
	if off != nil {
		load(Mem{Base: at, Index: off, Scale: 4}, q)
		VMINPS(q, a, a)
		VMAXPS(q, b, b)
	}
	ADDQ(stride, at)
	SUBQ(U8(1), left)
	JNZ(LabelRef(name + "Row"))
	VMOVHLPS(a, a, p)
	VMINPS(p, a, a)
	VMOVSHDUP(a, p)
	VMINSS(p, a, a)
	VMOVSS(a, Mem{Base: lo})
	VMOVHLPS(b, b, q)
	VMAXPS(q, b, b)
	VMOVSHDUP(b, q)
	VMAXSS(q, b, b)
	VMOVSS(b, Mem{Base: hi})
	ADDQ(U8(4), lo)
	ADDQ(U8(4), hi)
	ADDQ(U8(8), places)
	SUBQ(U8(1), n)
	JNZ(LabelRef(name))
	VZEROUPPER()
	RET()
}

func bound() {
	TEXT("boundAVX2", 4, "func(out, lo, hi *float32, n int, overshoot float32)")
	Pragma("noescape")
	Doc("boundAVX2 bounds n values, a multiple of 8 above 0, to lo - overshoot and hi + overshoot.")
	out, lo, hi := Load(Param("out"), GP64()), Load(Param("lo"), GP64()), Load(Param("hi"), GP64())
	over := YMM()
	p := Load(Param("overshoot"), XMM())
	VBROADCASTSS(p, over)
	each("bound", func() {
		v, l, h := YMM(), YMM(), YMM()
		VMOVUPS(Mem{Base: lo}, l)
		VSUBPS(over, l, l)
		VMOVUPS(Mem{Base: hi}, h)
		VADDPS(over, h, h)
		VMOVUPS(Mem{Base: out}, v)
		VMAXPS(v, l, v) // what is not a number stays so
		VMINPS(v, h, v)
		VMOVUPS(v, Mem{Base: out})
		ADDQ(U8(32), out)
		ADDQ(U8(32), lo)
		ADDQ(U8(32), hi)
	})
}
