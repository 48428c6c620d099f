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
		out[c] = raster.Upright(img[c], orientation)
	}
	return &out
}
