package rawfile

import (
	"context"
	"errors"
	"mullion/metadata"
)

func decodeJPEG(ctx context.Context, f *Frame, data []byte) error { return errors.New("soon") }
func decodeRendered(ctx context.Context, f *Frame, data []byte, k metadata.Kind) error {
	return errors.New("soon")
}
