package bracket

import "context"

func (m *merger) linearise(ctx context.Context) error { return ctx.Err() }
func (m *merger) fuseRGB(ctx context.Context) error   { return ctx.Err() }
func (m *merger) mendHot(ctx context.Context) error   { return ctx.Err() }
