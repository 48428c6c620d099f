//go:build !linux || (!amd64 && !arm64)

package apart

import "context"

type worker struct{ room []byte }

// State says in a clause how files are kept apart on this system, for people.
func State() string {
	return "camera files are decoded in this process: on this system there is none of their own"
}

// Serve does nothing on this system.
func Serve(prepare func(), handle Handler) {}

// Start returns [ErrNone]: there are no workers on this system.
func Start(ctx context.Context) (*Job, error) { return nil, ErrNone }

// Close does nothing on this system.
func (j *Job) Close() {}

// Rest does nothing on this system.
func Rest() {}

// Used does nothing on this system.
func (j *Job) Used(n int) {}

// Do is never called on this system.
func (j *Job) Do(ctx context.Context, head []byte, n int) ([]byte, error) { return nil, ErrNone }
