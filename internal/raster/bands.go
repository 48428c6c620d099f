package raster

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// bandRows is how many rows a worker takes at a time: enough to hide the cost of
// taking them, few enough that a cancelled context is noticed at once.
const bandRows = 32

// Bands calls fn for bands [y0, y1) that together cover rows 0 to h, on all
// cores. A band starts at a multiple of 32 rows. It returns the context's error
// when it was told to stop, in which case some rows have not been visited.
func Bands(ctx context.Context, h int, fn func(y0, y1 int)) error {
	return BandsOf(ctx, h, bandRows, fn)
}

// BandsOf is Bands with a chosen number of rows a band.
func BandsOf(ctx context.Context, h, rows int, fn func(y0, y1 int)) error {
	bands := (h + rows - 1) / rows
	workers := min(runtime.GOMAXPROCS(0), bands)
	var next atomic.Int64
	work := func() {
		for ctx.Err() == nil {
			b := int(next.Add(1)) - 1
			if b >= bands {
				return
			}
			fn(b*rows, min((b+1)*rows, h))
		}
	}
	if workers <= 1 {
		work()
		return ctx.Err()
	}
	var wg sync.WaitGroup
	for range workers - 1 {
		wg.Go(work)
	}
	work()
	wg.Wait()
	return ctx.Err()
}
