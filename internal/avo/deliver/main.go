// Command deliver writes the AVX2 rows of package mullion/deliver. Run it with
// "go generate ./deliver" in the main module; what it writes is committed.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// As in deliver/encode.go.
const (
	haloLimit = 4. / 255
	haloRange = 0.15
	coring    = 1. / 255
)

func main() {
	ConstraintExpr("amd64")
	detail()
	quantise()
	Generate()
}

// constants are kept in memory, eight of each, since registers are few.
var constants = map[float32]Mem{}

func all(v float32) Mem {
	if m, ok := constants[v]; ok {
		return m
	}
	m := bits(math.Float32bits(v))
	constants[v] = m
	return m
}

func bits(v uint32) Mem {
	m := GLOBL(fmt.Sprintf("all%08x", v), RODATA|NOPTR)
	for lane := range 8 {
		DATA(4*lane, U32(v))
	}
	return m
}

func broadcast(name string) VecVirtual {
	x, y := Load(Param(name), XMM()), YMM()
	VBROADCASTSS(x, y)
	return y
}

func load(m Mem) VecVirtual { y := YMM(); VMOVUPS(m, y); return y }

func add(a Op, b VecVirtual) VecVirtual { y := YMM(); VADDPS(a, b, y); return y }
func mul(a Op, b VecVirtual) VecVirtual { y := YMM(); VMULPS(a, b, y); return y }

// eights runs body for every eight of n values.
func eights(body func(x Register)) {
	n, x := Load(Param("n"), GP64()), GP64()
	XORQ(x, x)
	Label("eights")
	body(x)
	ADDQ(U8(8), x)
	CMPQ(x, n)
	JL(LabelRef("eights"))
	VZEROUPPER()
	RET()
}

func at(p, x Register) Mem { return Mem{Base: p, Index: x, Scale: 4} }

func detail() {
	TEXT("detailAVX2", 4, "func(add, up, mid, down, column *float32, amount float32, n int)")
	Pragma("noescape")
	Doc("detailAVX2 is detailGo for n samples, a multiple of 8 above 0, none of them at the row's ends.")
	to, up, mid, down := Load(Param("add"), GP64()), Load(Param("up"), GP64()), Load(Param("mid"), GP64()), Load(Param("down"), GP64())
	column, amount := Load(Param("column"), GP64()), broadcast("amount")
	eights(func(x Register) {
		l := load(at(mid, x))
		// The difference from the mean, cored.
		sum := load(at(column, x))
		VADDPS(sum, sum, sum)
		VADDPS(at(column, x).Offset(-4), sum, sum)
		VADDPS(at(column, x).Offset(4), sum, sum)
		d := mul(all(1./16), sum)
		VSUBPS(d, l, d)
		d2 := mul(d, d)
		cored := add(all(coring*coring), d2)
		d2 = mul(d2, amount)
		VDIVPS(cored, d2, d2)
		VMULPS(d2, d, d)
		// Its limit, from the extremes of the neighbourhood.
		lo, hi := load(at(up, x)), load(at(up, x))
		for _, m := range []Mem{
			at(up, x).Offset(-4), at(up, x).Offset(4), at(mid, x).Offset(-4), at(mid, x), at(mid, x).Offset(4),
			at(down, x).Offset(-4), at(down, x), at(down, x).Offset(4),
		} {
			VMINPS(m, lo, lo)
			VMAXPS(m, hi, hi)
		}
		room := add(all(haloRange), hi)
		VSUBPS(lo, room, room)
		k := load(all(haloLimit * haloRange))
		VDIVPS(room, k, room)
		VSUBPS(room, lo, lo)
		VADDPS(room, hi, hi)
		limited := add(l, d)
		VMINPS(hi, limited, limited)
		VMAXPS(lo, limited, limited)
		VSUBPS(l, limited, limited)
		// Small differences are left alone.
		large := YMM()
		VANDPS(absolute, d, large)
		VCMPPS(U8(0x1e), all(haloLimit/4), large, large) // greater than
		VBLENDVPS(large, limited, d, d)
		VMOVUPS(d, at(to, x))
	})
}

var absolute, packed = bits(0x7fffffff), packing()

// packing takes the fourth byte out of every four.
func packing() Mem {
	m := GLOBL("packing", RODATA|NOPTR)
	for i := range 8 {
		DATA(4*i, U32([4]uint32{0x04020100, 0x09080605, 0x0e0d0c0a, 0x80808080}[i%4]))
	}
	return m
}

func quantise() {
	TEXT("quantiseAVX2", 4, "func(out *byte, red, green, blue, add, spread *float32, start *[3]float32, n int)")
	Pragma("noescape")
	Doc("quantiseAVX2 is quantiseGo for n pixels, a multiple of 8 above 0; it writes four bytes past them.")
	out := Load(Param("out"), GP64())
	in := [3]Register{Load(Param("red"), GP64()), Load(Param("green"), GP64()), Load(Param("blue"), GP64())}
	plus, spread, start := Load(Param("add"), GP64()), Load(Param("spread"), GP64()), Load(Param("start"), GP64())
	var starts [3]VecVirtual
	for k := range starts {
		starts[k] = YMM()
		VBROADCASTSS(Mem{Base: start, Disp: 4 * k}, starts[k])
	}
	none := YMM()
	VXORPS(none, none, none)
	eights(func(x Register) {
		pixels := YMM()
		for k := range 3 {
			u := add(at(spread, x), starts[k])
			over := YMM()
			VCMPPS(U8(0x1d), all(1), u, over) // at least
			VANDPS(all(1), over, over)
			VSUBPS(over, u, u)
			v := add(at(plus, x), load(at(in[k], x)))
			VMULPS(all(255), v, v)
			VMULPS(all(0.998), u, u)
			VADDPS(u, v, v)
			VADDPS(all(0.001), v, v)
			VMAXPS(none, v, v)
			VMINPS(all(255), v, v)
			code := YMM()
			VCVTTPS2DQ(v, code)
			if k == 0 {
				VMOVUPS(code, pixels)
				continue
			}
			VPSLLD(U8(8*k), code, code)
			VPOR(code, pixels, pixels)
		}
		VPSHUFB(packed, pixels, pixels)
		high := XMM()
		VEXTRACTI128(U8(1), pixels, high)
		VMOVUPS(pixels.AsX(), Mem{Base: out})
		VMOVUPS(high, Mem{Base: out, Disp: 12})
		ADDQ(U8(24), out)
	})
}
