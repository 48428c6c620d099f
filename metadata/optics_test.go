package metadata

import (
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// opcode writes one opcode as the DNG specification (1.4, chapter 6) lays it out:
// number, version 1.3.0.0, flags (1: optional), length, parameters, big-endian.
func opcode(id uint32, params ...any) []byte {
	var data []byte
	for _, p := range params {
		switch v := p.(type) {
		case int:
			data = binary.BigEndian.AppendUint32(data, uint32(v))
		case float32:
			data = binary.BigEndian.AppendUint32(data, math.Float32bits(v))
		case []float64:
			for _, x := range v {
				data = binary.BigEndian.AppendUint64(data, math.Float64bits(x))
			}
		case float64:
			data = binary.BigEndian.AppendUint64(data, math.Float64bits(v))
		}
	}
	b := binary.BigEndian.AppendUint32(nil, id)
	b = append(b, 1, 3, 0, 0)
	b = binary.BigEndian.AppendUint32(b, 1)
	b = binary.BigEndian.AppendUint32(b, uint32(len(data)))
	return append(b, data...)
}

func list(ops ...[]byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(ops)))
	for _, o := range ops {
		b = append(b, o...)
	}
	return b
}

func TestOptics(t *testing.T) {
	var o Optics
	o.list(list(
		opcode(4, 1, 2, 3), // one that is no lens's: passed over
		opcode(3, -0.1, 0.4, 0.0, 0.0, 0.01, 0.5, 0.49),
		opcode(1, 3,
			1.0, -0.06, 0.01, 0.0, 0.001, -0.002,
			1.001, -0.05, 0.01, 0.0, 0.001, -0.002,
			1.002, -0.04, 0.01, 0.0, 0.001, -0.002, 0.5, 0.51)), false)
	want := Optics{Planes: 3, WarpX: 0.5, WarpY: 0.51, HasShade: true, Shade: [5]float64{-0.1, 0.4, 0, 0, 0.01}, ShadeX: 0.5, ShadeY: 0.49}
	want.Warp = [3][6]float64{{1, -0.06, 0.01, 0, 0.001, -0.002}, {1.001, -0.05, 0.01, 0, 0.001, -0.002}, {1.002, -0.04, 0.01, 0, 0.001, -0.002}}
	if o != want {
		t.Errorf("got  %+v\nwant %+v", o, want)
	}
}

// What is cut short or makes no sense asks for nothing.
func TestOpticsDamaged(t *testing.T) {
	whole := list(opcode(1, 1, 1.0, -0.06, 0.01, 0.0, 0.0, 0.0, 0.5, 0.5))
	for n := range whole {
		var o Optics
		if o.list(whole[:n], false); o != (Optics{}) {
			t.Errorf("%d of %d bytes ask for %+v", n, len(whole), o)
		}
	}
	for name, op := range map[string][]byte{
		"two planes":          opcode(1, 2, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"centre outside":      opcode(1, 1, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.5, 0.5),
		"no number":           opcode(1, 1, math.NaN(), 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"turns back":          opcode(1, 1, 1.0, -0.9, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"mirrors":             opcode(1, 1, -1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"black corners":       opcode(3, -1.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"too many planes":     opcode(1, -1),
		"fisheye of 4 planes": opcode(2, 4, 1.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"fisheye cut short":   opcode(2, 1, 1.0, 0.0, 0.0, 0.5, 0.5),
		"warp 2, no radii":    opcode(14, 1, long2(1, -0.1), 0.0, 0.0, 1.0, 1.0, 0.5, 0.5, 0),
		"warp 2, backwards":   opcode(14, 1, long2(-1, -0.1), 0.0, 0.0, 0.0, 1.0, 0.5, 0.5, 0),
		"gains of nothing":    opcode(9, 0, 0, 8, 8, 0, 1, 1, 1, 0, 1, 1.0, 1.0, 0.0, 0.0, 1),
		"gains too few":       opcode(9, 0, 0, 8, 8, 0, 1, 1, 1, 1, 2, 1.0, 1.0, 0.0, 0.0, 1, float32(1)),
		"a gain of 0":         opcode(9, 0, 0, 8, 8, 0, 1, 1, 1, 1, 1, 1.0, 1.0, 0.0, 0.0, 1, float32(0)),
		"gains of no pitch":   opcode(9, 0, 0, 8, 8, 0, 1, 0, 1, 1, 1, 1.0, 1.0, 0.0, 0.0, 1, float32(1)),
		"gains without end":   opcode(9, 0, 0, 8, 8, 0, 1, 1, 1, 1<<20, 1<<20, 1.0, 1.0, 0.0, 0.0, 1, float32(1)),
		"shade of no place":   opcode(3, 0.1, 0.0, 0.0, 0.0, 0.0, math.Inf(1), 0.5),
	} {
		var o Optics
		if o.list(list(op), true); o != (Optics{}) {
			t.Errorf("%s: %+v", name, o)
		}
	}
}

// A file without the 35 mm equivalent may still tell its sensor's size.
func TestSensor(t *testing.T) {
	path := filepath.Join(os.Getenv("MULLION_TESTDATA"), "realdata", "brackets", "garage-canonxsi-aeb")
	files, _ := filepath.Glob(filepath.Join(path, "*.[jJ][pP][gG]"))
	if len(files) == 0 {
		t.Skip("set MULLION_TESTDATA to the folder with realdata/")
	}
	info, err := Read(t.Context(), files[0])
	if err != nil {
		t.Fatal(err)
	}
	// 2256 x 1504 pixels at 2569 and 2575 to the inch; the maker's sheet says
	// 22.2 x 14.8 mm.
	if want := math.Hypot(22.2, 14.8); math.Abs(info.SensorMM-want) > 0.3 {
		t.Errorf("a sensor of %.2f mm, want %.2f", info.SensorMM, want)
	}
}

// long2 is the radial part of a WarpRectilinear2: k0 + k3 r^3.
func long2(k0, k3 float64) []float64 {
	k := make([]float64, 15)
	k[0], k[3] = k0, k3
	return k
}

// The other warps of the specification, by its formulas.
func TestOtherWarps(t *testing.T) {
	for _, c := range []struct {
		op   []byte
		want func(r float64) float64
	}{
		{opcode(2, 1, 0.9, -0.05, 0.01, 0.002, 0.5, 0.5), func(r float64) float64 {
			a := math.Atan(r)
			return 0.9*a - 0.05*math.Pow(a, 3) + 0.01*math.Pow(a, 5) + 0.002*math.Pow(a, 7)
		}},
		{opcode(14, 1, long2(1, -0.1), 0.001, 0.002, 0.0, 0.9, 0.5, 0.5, 0), func(r float64) float64 {
			return r * (1 - 0.1*math.Pow(min(r, 0.9), 3))
		}},
		{opcode(14, 1, long2(1, -0.1), 0.001, 0.002, 0.0, 1.0, 0.5, 0.5, 1), func(r float64) float64 {
			return r / (1 - 0.1*math.Pow(r, 3))
		}},
	} {
		var o Optics
		o.list(list(c.op), true)
		if o.Planes != 1 || o.WarpX != 0.5 {
			t.Fatalf("not read: %+v", o)
		}
		if o.Kind != WarpFisheye && (o.Warp[0][4] != 0.001 || o.Warp[0][5] != 0.002) {
			t.Errorf("tangential terms %v", o.Warp[0])
		}
		for r := 0.0; r <= 1; r += 0.05 {
			if got := o.At(0, r); math.Abs(got-c.want(r)) > 1e-12 {
				t.Errorf("kind %d: %g goes to %g, not %g", o.Kind, r, got, c.want(r))
			}
		}
	}
}

// A gain map is linear between its points, which lie at shares of the picture, and goes
// on as at its border; pixels count from their middles.
func TestGainMap(t *testing.T) {
	var o Optics
	o.list(list(opcode(9, 2, 1, 80, 100, 0, 1, 2, 2, 2, 3, 0.5, 0.25, 0.25, 0.25, 1,
		float32(1), float32(2), float32(4), float32(3), float32(4), float32(6))), false)
	if o.Gains == nil || len(o.Gains.Maps) != 1 {
		t.Fatal("not read")
	}
	m := &o.Gains.Maps[0]
	if m.Top != 2 || m.Left != 1 || m.RowPitch != 2 || m.Colours {
		t.Errorf("%+v", m)
	}
	const w, h = 100, 80
	row := make([]float32, w)
	for y, want := range map[int][4]float64{ // at x = 0, 31, 62, 99
		0:  {1, 1 + 4*(0.315-0.25), 2 + 8*(0.625-0.5), 4},
		79: {3, 3 + 4*(0.315-0.25), 4 + 8*(0.625-0.5), 6},
		39: {1.975, 1.975 + 4*(0.315-0.25), 2.975 + 8*(0.625-0.5), 4.975}, // (39.5/80-.25)/.5 = .4875
	} {
		m.Row(row, 0, y, w, h)
		for i, x := range []int{0, 31, 62, 99} {
			if math.Abs(float64(row[x])-want[i]) > 1e-5 {
				t.Errorf("gain at (%d, %d) is %g, not %g", x, y, row[x], want[i])
			}
		}
	}
}
