package finish

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"mullion/bracket"
	"mullion/card/disk"
	"mullion/colour"
	"mullion/finding"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/plumb"
	"mullion/shoot"
	"mullion/whitebalance"
)

// keptEdge is the long edge in pixels of the radiance that is kept of every view: a
// picture of 1600 pixels is cut from it with little to spare after straightening.
const keptEdge = 1800

// keptFormat names the files of kept radiance; it is raised with their layout.
const keptFormat = "mullion-kept-1"

// reduced is a view's reduced radiance and all that was measured on the full size: what
// a live picture is made from. It lies in the sensor's orientation.
type reduced struct {
	Format, Engine string
	Around         neighbours
	W, H           int // of the full size, as the sensor lies
	Frame          [2]int
	Pose           plumb.Pose // as measured
	Light          colour.XY
	Rendered       bool
	ToCamera       colour.Mat3
	Clip           float32
	Info           metadata.Info
	Infos          []metadata.Info
	RangeEV        float64
	Frames         []bracket.FrameReport
	Findings       []finding.Finding

	rgb   *raster.RGB
	code  []byte // the same as it is kept: plane by plane
	clock *Clock // of what is made from it; may be nil

	light *whitebalance.Estimate // what lit it; nil until somebody looked
	lit   plumb.Geometry         // of the picture in which that was found
}

// keep reduces a scene that has been measured, src being its radiance.
func (p *picture) keep(ctx context.Context, src *raster.RGB) (*reduced, error) {
	m := p.scene.Merged
	k := &reduced{
		Format: keptFormat, Engine: engine, Around: p.around, W: src.W(), H: src.H(), Frame: p.frame, Pose: p.measured,
		Light: p.scene.Light, Rendered: p.scene.Rendered, ToCamera: p.scene.ceiling.toCamera, Clip: p.scene.ceiling.clip,
		Info: m.Info, Infos: p.scene.Infos, RangeEV: m.RangeEV, Frames: m.Frames, Findings: p.findings,
	}
	w, h := within(src.W(), src.H(), keptEdge)
	k.rgb = &raster.RGB{}
	if w == src.W() {
		k.rgb = src.Clone()
	} else if err := k.shrink(ctx, src, w, h); err != nil {
		return nil, err
	}
	return k, k.round(ctx)
}

func (k *reduced) shrink(ctx context.Context, src *raster.RGB, w, h int) (err error) {
	for c := range src {
		if k.rgb[c], err = raster.Shrink(ctx, src[c], w, h); err != nil {
			return err
		}
	}
	return nil
}

// round takes the radiance to the steps it is kept in, so that a picture made from it
// is the same today and tomorrow.
func (k *reduced) round(ctx context.Context) error {
	k.code = make([]byte, 6*k.rgb.W()*k.rgb.H())
	return k.rows(ctx, func(row []float32, code []byte) {
		for x, v := range row {
			c := code16(v)
			binary.LittleEndian.PutUint16(code[2*x:], c)
			row[x] = decode16(c)
		}
	})
}

// rows calls fn for every row of every plane with the place of its code.
func (k *reduced) rows(ctx context.Context, fn func(row []float32, code []byte)) error {
	w, h := k.rgb.W(), k.rgb.H()
	return raster.Bands(ctx, h, func(y0, y1 int) {
		for c, p := range k.rgb {
			for y := y0; y < y1; y++ {
				at := 2 * w * (c*h + y)
				fn(p.Row(y), k.code[at:at+2*w])
			}
		}
	})
}

// within is the size of a picture of w x h reduced to a long edge, if it is longer.
func within(w, h, edge int) (int, int) {
	long := max(w, h)
	if long <= edge {
		return w, h
	}
	f := float64(edge) / float64(long)
	return max(1, int(float64(w)*f+0.5)), max(1, int(float64(h)*f+0.5))
}

// picture sets a picture up as if its scene had just been measured.
func (k *reduced) picture() *picture {
	return &picture{
		scene: &Scene{
			Merged: &bracket.Radiance{Info: k.Info, RangeEV: k.RangeEV, Frames: k.Frames},
			Infos:  k.Infos, Light: k.Light, Rendered: k.Rendered, ceiling: ceiling{k.ToCamera, k.Clip, gone(k.Rendered)},
		},
		around: k.Around, pose: k.Pose, measured: k.Pose, frame: k.Frame, findings: append([]finding.Finding{}, k.Findings...),
		clock: k.clock,
	}
}

// keptPath is where a view's radiance is kept below the shoot's cache: by the contents
// of its frames and what its neighbours say of lens and dust, so that nothing old is ever
// taken for something new. What a room's views agree on in light is used after it, so
// that a room's new name merges no frames again.
func keptPath(cache string, v shoot.View, around neighbours) (string, error) {
	key, err := shoot.Key(v.Frames, neighbours{Plumb: around.Plumb, Dust: around.Dust}, nil, engine+keptFormat)
	if err != nil {
		return "", err
	}
	return filepath.Join(cache, "radiance", key[:32]+".kept"), nil
}

// Samples are kept as 16-bit logarithms, 1/1024 EV apart over 64 EV; 0 is no light.
const keptSteps, keptZero = 1024, 32

func (k *reduced) write(path string) error {
	var b bytes.Buffer
	b.Grow(1<<20 + 6*k.rgb.W()*k.rgb.H())
	if err := k.encode(&b); err != nil {
		return err
	}
	return putFile(path, b.Bytes())
}

func (k *reduced) encode(w io.Writer) error {
	if err := gob.NewEncoder(w).Encode(k); err != nil {
		return err
	}
	if err := binary.Write(w, binary.LittleEndian, [2]uint32{uint32(k.rgb.W()), uint32(k.rgb.H())}); err != nil {
		return err
	}
	_, err := w.Write(k.code)
	return err
}

func code16(v float32) uint16 {
	if !(v > 0) {
		return 0
	}
	return uint16(max(1, min(65535, (raster.Log2(v)+keptZero)*keptSteps+0.5)))
}

// The steps of one doubling; the whole number above them goes into the exponent.
var keptOctave = func() (t [keptSteps]float32) {
	for i := range t {
		t[i] = float32(math.Exp2(float64(i) / keptSteps))
	}
	return t
}()

func decode16(c uint16) float32 {
	if c == 0 {
		return 0
	}
	e := uint32(int(c)/keptSteps - keptZero + 127)
	return keptOctave[c%keptSteps] * math.Float32frombits(e<<23)
}

// readKept reads what write wrote. Any other contents are an error: the caller makes
// the radiance again.
func readKept(path string) (k *reduced, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := bufio.NewReaderSize(f, 1<<20)
	k = &reduced{}
	if err := gob.NewDecoder(r).Decode(k); err != nil {
		return nil, err
	}
	var size [2]uint32
	if err := binary.Read(r, binary.LittleEndian, &size); err != nil {
		return nil, err
	}
	if k.Format != keptFormat || k.Engine != engine || size[0] < 1 || size[1] < 1 || max(size[0], size[1]) > keptEdge {
		return nil, fmt.Errorf("%s: this is from another version", path)
	}
	k.rgb = raster.GetRGB(int(size[0]), int(size[1]))
	k.code = make([]byte, 6*size[0]*size[1])
	if _, err := io.ReadFull(r, k.code); err != nil {
		return nil, err
	}
	err = k.rows(context.Background(), func(row []float32, code []byte) {
		for x := range row {
			row[x] = decode16(binary.LittleEndian.Uint16(code[2*x:]))
		}
	})
	k.code = nil
	return k, err
}

// store keeps k for later runs. A cache that can't be written is no fault.
func (k *reduced) store(path string) {
	if free, err := disk.OS.Free(filepath.Dir(filepath.Dir(path))); err == nil && free < 256<<20 {
		return // the pictures themselves come first
	}
	_ = k.write(path)
	k.code = nil
}
