package removal

import (
	"encoding/binary"
	"image"
	"image/color"
	idraw "image/draw"
	"math"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomonobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"mullion/internal/raster"
)

// plate draws a number plate's letters.
func plate(face font.Face, text string, ground, ink color.RGBA) *raster.RGB {
	g := image.NewRGBA(image.Rect(0, 0, 260, 90))
	idraw.Draw(g, g.Bounds(), image.NewUniform(ground), image.Point{}, idraw.Src)
	d := font.Drawer{Dst: g, Src: image.NewUniform(ink), Face: face, Dot: fixed.P(35, 65)}
	d.DrawString(text)
	m := raster.NewRGB(260, 90)
	for y := range 90 {
		for x := range 260 {
			for c := range m {
				m[c].Row(y)[x] = float32(math.Pow(float64(g.Pix[g.PixOffset(x, y)+c])/255, 2.2))
			}
		}
	}
	return m
}

// TestSoftenedPlatesCannotBeGuessed is the attack of Hill et al. (2016) under the best
// conditions for it: the attacker knows the font, the place to the pixel, the light
// without noise, the mask and this program, softens a thousand candidates and compares.
// What the softened picture tells is the entropy of what comes out, in bits.
func TestSoftenedPlatesCannotBeGuessed(t *testing.T) {
	f, err := opentype.Parse(gomonobold.TTF)
	if err != nil {
		t.Fatal(err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: 46, DPI: 72})
	if err != nil {
		t.Fatal(err)
	}
	mask := raster.New(260, 90)
	Box{30, 20, 200, 52}.Paint(mask)
	grey := func(v uint8) color.RGBA { return color.RGBA{v, v, v, 255} }
	for _, c := range []struct {
		name        string
		ground, ink color.RGBA
		most        float64
	}{
		{"dark on light", grey(200), grey(20), 1},
		{"blue on yellow", color.RGBA{230, 190, 40, 255}, color.RGBA{20, 40, 140, 255}, 1},
		{"red on white", color.RGBA{225, 225, 220, 255}, color.RGBA{160, 30, 30, 255}, 1},
		{"white on green", color.RGBA{30, 110, 70, 255}, color.RGBA{230, 230, 225, 255}, 1},
	} {
		if bits := told(t, face, mask, c.ground, c.ink); bits > c.most {
			t.Errorf("%s: the softened picture tells %.2f bits of a plate", c.name, bits)
		}
	}
}

// told is how many bits of a thousand plates are told by their softened pictures.
func told(t *testing.T, face font.Face, mask *raster.Plane, ground, ink color.RGBA) float64 {
	const n = 1000
	seen := map[string]int{}
	for i := range n {
		r := random{uint64(i)*7919 + 1}
		text := ""
		for range 7 {
			text += string("ABCDEFGHJKLMNPRSTUVWXYZ0123456789"[r.next()%33])
		}
		m := plate(face, text, ground, ink)
		if _, err := Soften(ctx, m, mask); err != nil {
			t.Fatal(err)
		}
		key := make([]byte, 0, 12*len(m[1].Pix))
		for c := range m {
			for _, v := range m[c].Pix {
				key = binary.LittleEndian.AppendUint32(key, math.Float32bits(v))
			}
		}
		seen[string(key)]++
	}
	bits := 0.
	for _, k := range seen {
		p := float64(k) / n
		bits -= p * math.Log2(p)
	}
	t.Logf("%d plates give %d pictures: %.2f of %.1f bits", n, len(seen), bits, math.Log2(n))
	return bits
}
