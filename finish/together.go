package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/plumb"
)

// uprightLuma is what lines are looked for in, made from radiance as the sensor lies.
func uprightLuma(ctx context.Context, src *raster.RGB, orientation int) (*raster.Plane, error) {
	luma, err := plumb.Luma(ctx, src, lumaEdge)
	if err != nil {
		return nil, err
	}
	up := raster.Upright(luma, orientation)
	if up != luma {
		raster.Put(luma)
	}
	return up, nil
}

// evidenceOf is what one view says about the lens and about how the cameras of
// the shoot were held: kept as JSON, and solved by [plumb.Together] when all views
// have been read. src is radiance in the sensor's orientation, of any size.
func evidenceOf(ctx context.Context, src *raster.RGB, info metadata.Info) (plumb.Evidence, error) {
	luma, err := uprightLuma(ctx, src, info.Orientation)
	if err != nil {
		return plumb.Evidence{}, err
	}
	defer raster.Put(luma)
	w, h := turned(src.W(), src.H(), info.Orientation)
	return plumb.Gather(ctx, luma, plumb.Look(info, w, h))
}

// turned is the size of a picture of w x h stored pixels when it stands upright.
func turned(w, h, orientation int) (int, int) {
	if orientation >= 5 && orientation <= 8 {
		return h, w
	}
	return w, h
}
