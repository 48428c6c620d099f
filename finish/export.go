package finish

import (
	"context"

	"mullion/imprint"
	"mullion/internal/raster"
	"mullion/tifffile"
)

// WriteTIFF writes the scene as a 32-bit float TIFF, linear BT.2020, upright, in
// camera geometry: nothing is straightened, balanced or toned.
func (s *Scene) WriteTIFF(ctx context.Context, path, version string) error {
	unit := "relative to the reference frame's clipping point"
	if s.Merged.Absolute {
		unit = "100 cd/m2"
	}
	up := upright(s.RGB, s.Merged.Info.Orientation)
	defer raster.PutRGB(up)
	return tifffile.Write(ctx, path, up, tifffile.Header{
		Description: "Merged radiance, linear BT.2020 (D65), unit: " + unit + ", colour of the light kept",
		Software:    "Mullion " + version,
		Profile:     imprint.LinearBT2020(),
	})
}

// upright returns a copy of img turned as its Exif orientation (1 to 8) says it is
// to be seen.
func upright(img *raster.RGB, orientation int) *raster.RGB {
	var out raster.RGB
	for c := range img {
		out[c] = uprightPlane(img[c], orientation)
	}
	return &out
}

func uprightPlane(p *raster.Plane, orientation int) *raster.Plane {
	w, h := p.W, p.H
	if orientation >= 5 && orientation <= 8 {
		w, h = h, w
	}
	out := raster.Get(w, h)
	for y := range h {
		row := out.Row(y)
		for x := range row {
			sx, sy := seenFrom(orientation, x, y, w, h)
			row[x] = p.Row(sy)[sx]
		}
	}
	return out
}

// seenFrom returns the stored pixel that is seen at (x, y) of the upright picture of
// w x h pixels (Exif 2.32, tag 0112: where row 0 and column 0 of the stored picture
// are seen).
func seenFrom(orientation, x, y, w, h int) (sx, sy int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, w - 1 - x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return h - 1 - y, x
	}
	return x, y
}
