// Command removal writes the AVX2 comparison of patches of package mullion/removal. Run
// it with "go generate ./removal" in the main module; what it writes is committed.
package main

import (
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

const side = 11 // pixels along a patch's side, see removal/level.go

func main() {
	ConstraintExpr("amd64")
	differ()
	Generate()
}

// sums are what is added up, eight lanes each: two pixels of four channels.
type sums struct{ d, squares, n VecVirtual }

func zero() VecVirtual { y := YMM(); VXORPS(y, y, y); return y }

// add adds pixels that differ by d and weigh w; both are lost.
func (s sums) add(d, w VecVirtual) {
	VADDPS(w, s.n, s.n)
	VMULPS(d, w, w)
	VADDPS(w, s.d, s.d)
	VMULPS(d, w, w)
	VADDPS(w, s.squares, s.squares)
}

// fold adds the lanes of a pixel in a, b and what is beside it.
func fold(a, b VecVirtual) VecVirtual {
	y, h := YMM(), XMM()
	VADDPS(b, a, y)
	VEXTRACTF128(U8(1), y, h)
	x := XMM()
	VADDPS(h, y.AsX(), x)
	return x
}

func differ() {
	pick := GLOBL("pick", RODATA|NOPTR)
	for i := range 8 {
		DATA(4*i, U32(i/4))
	}
	texture := GLOBL("texture", RODATA|NOPTR)
	for i, v := range [4]float32{1, 1, 1, 0.5} { // textureWeight
		DATA(4*i, U32(math.Float32bits(v)))
	}
	TEXT("differAVX2", 4, "func(a, b, weight *float32, stride int, limit float32) (sum, squares, n float32)")
	Pragma("noescape")
	Doc("differAVX2 is differGo; the pointers are at the patches' first pixels, stride is in pixels.")
	a, b, weight := Load(Param("a"), GP64()), Load(Param("b"), GP64()), Load(Param("weight"), GP64())
	narrow := Load(Param("stride"), GP64())
	limit := Load(Param("limit"), XMM())
	SHLQ(U8(2), narrow)
	wide := GP64()
	MOVQ(narrow, wide)
	SHLQ(U8(2), wide)
	pairs := YMM()
	VMOVUPS(pick, pairs)
	three := XMM()
	r := GP32()
	MOVL(U32(math.Float32bits(3)), r)
	MOVD(r, three)
	// Two sets by turns, so that an addition need not wait for the one before.
	s := [2]sums{{zero(), zero(), zero()}, {zero(), zero(), zero()}}
	left := GP64()
	MOVQ(U32(side), left)

	Label("row")
	for i := range side / 2 {
		d, w := YMM(), YMM()
		VMOVUPS(Mem{Base: a, Disp: 32 * i}, d)
		VSUBPS(Mem{Base: b, Disp: 32 * i}, d, d)
		VBROADCASTSD(Mem{Base: weight, Disp: 8 * i}, w)
		VPERMILPS(pairs, w, w)
		s[i%2].add(d, w)
	}
	d, w := XMM(), XMM() // the last pixel alone: the other half is 0
	VMOVUPS(Mem{Base: a, Disp: 16 * (side - 1)}, d)
	VSUBPS(Mem{Base: b, Disp: 16 * (side - 1)}, d, d)
	VBROADCASTSS(Mem{Base: weight, Disp: 4 * (side - 1)}, w)
	s[1].add(d.AsY().(VecVirtual), w.AsY().(VecVirtual))
	ADDQ(wide, a)
	ADDQ(wide, b)
	ADDQ(narrow, weight)
	DECQ(left)
	TESTQ(U32(every-1), left)
	JNZ(LabelRef("row"))

	sum, squares, n := fold(s[0].d, s[1].d), fold(s[0].squares, s[1].squares), fold(s[0].n, s[1].n)
	none := XMM()
	VXORPS(none, none, none)
	VBLENDPS(U8(8), none, sum, sum)
	VMULPS(texture, squares, squares)
	VHADDPS(squares, sum, sum)
	VHADDPS(sum, sum, sum)
	VMOVSHDUP(sum, squares)
	bound, own := XMM(), XMM()
	VSUBSS(limit, squares, bound)
	VMULSS(three, n, own)
	VMULSS(own, bound, bound)
	VMULSS(sum, sum, own)
	VUCOMISS(own, bound)
	JHI(LabelRef("done"))
	TESTQ(left, left)
	JNZ(LabelRef("row"))

	Label("done")
	Store(sum, Return("sum"))
	Store(squares, Return("squares"))
	Store(n, Return("n"))
	VZEROUPPER()
	RET()
}

// every is how many rows are added up between looks at the limit, a power of two.
const every = 4
