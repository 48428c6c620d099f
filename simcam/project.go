package simcam

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"mullion/colour"
	"mullion/internal/raster"
)

// Projection is the light that the lens throws on the sensor, photosite by
// photosite: what all frames of a still composition share. It is in the
// sensor's orientation, W x H, both even, red photosite at (0, 0).
type Projection struct {
	W, H     int
	Portrait bool        // the camera stood on its end
	Auto     colour.Vec3 // the camera's own guess of the neutral, green 1

	light *raster.Plane // camera RGB x vignetting x response of the photosite
}

// Close gives the memory back.
func (p *Projection) Close() { raster.Put(p.light); p.light = nil }

// Project makes the projection of a scene (linear BT.2020, 1.0 = 100 cd/m2,
// upright). A scene higher than wide is taken with the camera on its end. A
// scale above 1 enlarges the scene, so that frames of any size can be made; 0
// counts as 1.
func (c *Camera) Project(ctx context.Context, scene *raster.RGB, scale float64, m Move) (*Projection, error) {
	if scale == 0 {
		scale = 1
	}
	portrait := scene.H() > scene.W()
	sw, sh := scene.W(), scene.H()
	if portrait {
		sw, sh = sh, sw
	}
	w, h := int(math.Round(float64(sw)*scale))&^1, int(math.Round(float64(sh)*scale))&^1
	if w < 4 || h < 4 || w > math.MaxUint16 || h > math.MaxUint16 {
		return nil, fmt.Errorf("simulated camera: no sensor of %d x %d pixels", w, h)
	}
	cam := new(raster.RGB)
	defer func() { raster.PutRGB(cam) }()
	for i, plane := range scene {
		p, err := c.lens(ctx, plane, portrait, w, h, m)
		if err != nil {
			return nil, err
		}
		cam[i] = p
	}
	if err := c.toCamera(ctx, cam); err != nil {
		return nil, err
	}
	p := &Projection{W: w, H: h, Portrait: portrait, Auto: c.auto(cam), light: raster.Get(w, h)}
	if err := c.mosaic(ctx, p.light, cam); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

// lens takes one plane of the scene to the sensor: turned, enlarged and moved,
// then spread by the lens.
func (c *Camera) lens(ctx context.Context, src *raster.Plane, portrait bool, w, h int, m Move) (*raster.Plane, error) {
	var turned *raster.Plane
	if portrait {
		turned = turn(src)
		defer func() { raster.Put(turned) }()
		src = turned
	}
	out := raster.Get(w, h)
	if w != src.W || h != src.H || m != (Move{}) {
		moved, err := resample(ctx, src, w, h, m)
		if err != nil {
			raster.Put(out)
			return nil, err
		}
		raster.Put(turned)
		turned, src = moved, moved
		defer raster.Put(moved)
	}
	if err := raster.Gauss(ctx, out, src, c.PSF); err != nil {
		raster.Put(out)
		return nil, err
	}
	return out, nil
}

// turn returns the plane turned a quarter anticlockwise: how an upright scene
// falls on the sensor of a camera that is shown upright by turning its pictures
// clockwise (Exif orientation 6).
func turn(src *raster.Plane) *raster.Plane {
	dst := raster.Get(src.H, src.W)
	for y := range dst.H {
		row := dst.Row(y)
		o := src.W - 1 - y
		for x := range row {
			row[x] = src.Pix[x*src.Stride+o]
		}
	}
	return dst
}

// toCamera changes linear BT.2020 to camera RGB in place. Colours the sensor
// can't see as positive are black.
func (c *Camera) toCamera(ctx context.Context, m *raster.RGB) error {
	k := c.fromBT2020()
	var t [3][3]float32
	for i := range t {
		for j := range t[i] {
			t[i][j] = float32(k[i][j])
		}
	}
	return raster.Bands(ctx, m.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, g, b := m[0].Row(y), m[1].Row(y), m[2].Row(y)
			g, b = g[:len(r)], b[:len(r)]
			for x := range r {
				r[x], g[x], b[x] = positive(t[0][0]*r[x]+t[0][1]*g[x]+t[0][2]*b[x]),
					positive(t[1][0]*r[x]+t[1][1]*g[x]+t[1][2]*b[x]),
					positive(t[2][0]*r[x]+t[2][1]*g[x]+t[2][2]*b[x])
			}
		}
	})
}

func positive(v float32) float32 {
	if v > 0 {
		return v
	}
	return 0
}

// mosaic picks each photosite's colour and multiplies it by what never changes
// between frames: the vignetting and the photosite's own response.
func (c *Camera) mosaic(ctx context.Context, dst *raster.Plane, cam *raster.RGB) error {
	return raster.Bands(ctx, dst.H, func(y0, y1 int) {
		noise := newRowNoise()
		for y := y0; y < y1; y++ {
			// Red and green alternate on even rows, green and blue on odd ones.
			a, b := cam[y&1].Row(y), cam[y&1+1].Row(y)
			row := dst.Row(y)
			a, b = a[:len(row)], b[:len(row)]
			for x := 0; x+1 < len(row); x += 2 {
				row[x], row[x+1] = a[x], b[x+1]
			}
			c.vignetteRow(row, y, dst.H)
			c.dustRow(row, y)
			if c.PRNU > 0 {
				rng := noise.row(bodySeed, 0, y)
				for x := range row {
					row[x] *= 1 + float32(c.PRNU*rng.NormFloat64())
				}
			}
		}
	})
}

// vignetteRow darkens row y of h towards the corners.
func (c *Camera) vignetteRow(row []float32, y, h int) {
	a, b := c.Vignette[0], c.Vignette[1]
	if a == 0 && b == 0 {
		return
	}
	w := float64(len(row))
	norm := 4 / (w*w + float64(h*h))
	dy := float64(y) - float64(h-1)/2
	for x := range row {
		dx := float64(x) - (w-1)/2
		r2 := (dx*dx + dy*dy) * norm
		row[x] *= float32(1 - r2*(a+b*r2))
	}
}

// bodySeed makes one body's photosites unequal in the same way in every frame.
const bodySeed = 41877

// rowNoise is a generator that starts afresh for every row, so that the noise of
// a frame does not depend on how its rows are spread over the cores.
type rowNoise struct {
	pcg *rand.PCG
	rng *rand.Rand
}

func newRowNoise() rowNoise {
	p := rand.NewPCG(0, 0)
	return rowNoise{p, rand.New(p)}
}

func (n rowNoise) row(seed, frame uint64, y int) *rand.Rand {
	n.pcg.Seed(scatter(seed), scatter(frame<<20+uint64(y)+1))
	return n.rng
}

// scatter is the finaliser of SplitMix64 (Steele, Lea & Flood, OOPSLA 2014): it
// takes neighbouring numbers far apart.
func scatter(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
