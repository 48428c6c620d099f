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
			1.002, -0.04, 0.01, 0.0, 0.001, -0.002, 0.5, 0.51)))
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
		if o.list(whole[:n]); o != (Optics{}) {
			t.Errorf("%d of %d bytes ask for %+v", n, len(whole), o)
		}
	}
	for name, op := range map[string][]byte{
		"two planes":        opcode(1, 2, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"centre outside":    opcode(1, 1, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.5, 0.5),
		"no number":         opcode(1, 1, math.NaN(), 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"turns back":        opcode(1, 1, 1.0, -0.9, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"mirrors":           opcode(1, 1, -1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"black corners":     opcode(3, -1.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5),
		"too many planes":   opcode(1, -1),
		"shade of no place": opcode(3, 0.1, 0.0, 0.0, 0.0, 0.0, math.Inf(1), 0.5),
	} {
		var o Optics
		if o.list(list(op)); o != (Optics{}) {
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
