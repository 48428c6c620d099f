// Command denoise writes the AVX2 row of blocks of package mullion/denoise. Run it
// with "go generate ./denoise" in the main module; what it writes is committed.
package main

import (
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

func main() {
	ConstraintExpr("amd64")
	constants()
	shrinkRow()
	Generate()
}

// The cosines of the transform, see denoise/dct.go, then 1 and the smallest square
// that is divided by; each in all eight lanes.
var values = [...]float32{
	0.35355339059327376, 0.4903926402016152, 0.46193976625564337, 0.4157348061512726,
	1, 0.2777851165098011, 0.1913417161825449, 0.09754516100806412, 1e-20,
}

const one, tiny = 4, 8

var table Mem

func constants() {
	table = GLOBL("cosines", RODATA|NOPTR)
	for i, v := range values {
		for lane := range 8 {
			DATA(4*(8*i+lane), U32(math.Float32bits(v))) // F32(1) would be written as an integer
		}
	}
}

func c(i int) Mem { return table.Offset(32 * i) }

type block [8]VecVirtual

func add(a, b VecVirtual) VecVirtual { y := YMM(); VADDPS(b, a, y); return y }
func sub(a, b VecVirtual) VecVirtual { y := YMM(); VSUBPS(b, a, y); return y }

// term is a vector times a cosine, taken away when minus.
type term struct {
	v     VecVirtual
	c     int
	minus bool
}

// total sums terms, the first of which is never taken away.
func total(terms ...term) VecVirtual {
	y := YMM()
	VMULPS(c(terms[0].c), terms[0].v, y)
	for _, t := range terms[1:] {
		if t.minus {
			VFNMADD231PS(c(t.c), t.v, y)
		} else {
			VFMADD231PS(c(t.c), t.v, y)
		}
	}
	return y
}

func forward(x block) (y block) {
	s := [4]VecVirtual{}
	d := [4]VecVirtual{}
	for i := range 4 {
		s[i], d[i] = add(x[i], x[7-i]), sub(x[i], x[7-i])
	}
	e0, f0 := add(s[0], s[3]), sub(s[0], s[3])
	e1, f1 := add(s[1], s[2]), sub(s[1], s[2])
	y[0], y[4] = add(e0, e1), sub(e0, e1)
	VMULPS(c(0), y[0], y[0])
	VMULPS(c(0), y[4], y[4])
	y[2] = total(term{f0, 2, false}, term{f1, 6, false})
	y[6] = total(term{f0, 6, false}, term{f1, 2, true})
	y[1] = total(term{d[0], 1, false}, term{d[1], 3, false}, term{d[2], 5, false}, term{d[3], 7, false})
	y[3] = total(term{d[0], 3, false}, term{d[1], 7, true}, term{d[2], 1, true}, term{d[3], 5, true})
	y[5] = total(term{d[0], 5, false}, term{d[1], 1, true}, term{d[2], 7, false}, term{d[3], 3, false})
	y[7] = total(term{d[0], 7, false}, term{d[1], 5, true}, term{d[2], 3, false}, term{d[3], 1, true})
	return y
}

func backward(y block) (x block) {
	e0, e1 := add(y[0], y[4]), sub(y[0], y[4])
	VMULPS(c(0), e0, e0)
	VMULPS(c(0), e1, e1)
	f0 := total(term{y[2], 2, false}, term{y[6], 6, false})
	f1 := total(term{y[2], 6, false}, term{y[6], 2, true})
	s := [4]VecVirtual{add(e0, f0), add(e1, f1), sub(e1, f1), sub(e0, f0)}
	d := [4]VecVirtual{
		total(term{y[1], 1, false}, term{y[3], 3, false}, term{y[5], 5, false}, term{y[7], 7, false}),
		total(term{y[1], 3, false}, term{y[3], 7, true}, term{y[5], 1, true}, term{y[7], 5, true}),
		total(term{y[1], 5, false}, term{y[3], 1, true}, term{y[5], 7, false}, term{y[7], 3, false}),
		total(term{y[1], 7, false}, term{y[3], 5, true}, term{y[5], 3, false}, term{y[7], 1, true}),
	}
	for i := range 4 {
		x[i], x[7-i] = add(s[i], d[i]), sub(s[i], d[i])
	}
	return x
}

// transpose swaps rows and columns: neighbours, pairs, halves.
func transpose(x block) block {
	var a, b, y block
	for i := 0; i < 8; i += 2 {
		a[i], a[i+1] = YMM(), YMM()
		VUNPCKLPS(x[i+1], x[i], a[i])
		VUNPCKHPS(x[i+1], x[i], a[i+1])
	}
	for i := 0; i < 8; i += 4 {
		for k := range 2 {
			lo, hi := YMM(), YMM()
			VSHUFPS(U8(0x44), a[i+2+k], a[i+k], lo)
			VSHUFPS(U8(0xee), a[i+2+k], a[i+k], hi)
			b[i+2*k], b[i+2*k+1] = lo, hi
		}
	}
	for i := range 4 {
		y[i], y[i+4] = YMM(), YMM()
		VPERM2F128(U8(0x20), b[i+4], b[i], y[i])
		VPERM2F128(U8(0x31), b[i+4], b[i], y[i+4])
	}
	return y
}

func shrinkRow() {
	TEXT("shrinkRowAVX2", 4, "func(sum, weight, in *float32, stride, n int, limit, window *float32)")
	Pragma("noescape")
	Doc("shrinkRowAVX2 is shrinkRowGo for n blocks above 0; stride is in samples, limit must be symmetric.")
	sum, weight, in := Load(Param("sum"), GP64()), Load(Param("weight"), GP64()), Load(Param("in"), GP64())
	stride, n := Load(Param("stride"), GP64()), Load(Param("n"), GP64())
	limit, window := Load(Param("limit"), GP64()), Load(Param("window"), GP64())
	SHLQ(U8(2), stride)
	Label("block")
	at := GP64()
	MOVQ(in, at)
	var x block
	for i := range x {
		x[i] = YMM()
		VMOVUPS(Mem{Base: at}, x[i])
		if i < 7 {
			ADDQ(stride, at)
		}
	}
	x = forward(transpose(forward(x)))
	kept, none := YMM(), YMM()
	VXORPS(kept, kept, kept)
	VXORPS(none, none, none)
	for i := range x {
		q := YMM()
		VMULPS(x[i], x[i], q)
		VADDPS(c(tiny), q, q)
		t := YMM()
		VMOVUPS(Mem{Base: limit, Disp: 32 * i}, t)
		VDIVPS(q, t, q)
		VMOVUPS(c(one), t)
		VSUBPS(q, t, q)
		VMAXPS(none, q, q)
		VMULPS(q, x[i], x[i])
		VFMADD231PS(q, q, kept)
	}
	h, l := XMM(), XMM()
	VEXTRACTF128(U8(1), kept, h)
	VADDPS(h, kept.AsX(), l)
	VMOVHLPS(l, l, h)
	VADDPS(h, l, l)
	VMOVSHDUP(l, h)
	VADDSS(h, l, l)
	VMOVSS(c(one), h)
	VDIVSS(l, h, h)
	share := YMM()
	VBROADCASTSS(h, share)
	x = backward(transpose(backward(x)))
	ps, pw := GP64(), GP64()
	MOVQ(sum, ps)
	MOVQ(weight, pw)
	for i := range x {
		k := YMM()
		VMULPS(Mem{Base: window, Disp: 32 * i}, share, k)
		VFMADD213PS(Mem{Base: ps}, k, x[i])
		VMOVUPS(x[i], Mem{Base: ps})
		VADDPS(Mem{Base: pw}, k, k)
		VMOVUPS(k, Mem{Base: pw})
		if i < 7 {
			ADDQ(stride, ps)
			ADDQ(stride, pw)
		}
	}
	ADDQ(U8(16), sum)
	ADDQ(U8(16), weight)
	ADDQ(U8(16), in)
	DECQ(n)
	JNZ(LabelRef("block"))
	VZEROUPPER()
	RET()
}
