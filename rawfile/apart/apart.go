// Package apart runs work on files from outside in a process of its own: the same
// program started again as a worker with limits on memory, time and, on Linux, system
// calls. A file that crashes the worker, makes it hang or fills its memory costs one
// error about that file; the next one gets a new worker.
//
// Bytes go both ways through memory that both processes map, so that what isolation
// costs is one copy of the result. A worker serves many files, one at a time, and ends
// when it is idle or when its parent does. It can't open files, reach the network or
// start programs: what it is given is all it sees.
//
// The package that decodes calls [Serve] from an init function. That makes every
// program that links it, tests too, able to be its own worker.
package apart

import (
	"errors"
	"fmt"
	"time"
)

// Limits of a worker. They are stated here and nowhere else.
const (
	// MaxIn is the largest file that is taken: an uncompressed frame of 400 megapixels.
	MaxIn = 1 << 30
	// MaxOut is the largest result: 400 megapixels of three bytes.
	MaxOut = 1280 << 20
	// MaxMemory is what a worker may allocate beside those two. A raw library needs
	// eight bytes a pixel to interpolate, 1.2 GB for 150 megapixels.
	MaxMemory = 4 << 30
)

// Time limits. They are variables for the tests, which can't wait as long.
var (
	// MaxCompute is the processor time that one file may take; a frame of 24
	// megapixels takes well under a second.
	MaxCompute = 60 * time.Second
	// MaxWait is the time after which a worker counts as hanging although it computes
	// little: the machine may be busy with other things.
	MaxWait = 5 * time.Minute
	idle    = 20 * time.Second
)

// ErrNone means that there are no workers on this system, or that none could be
// started: the caller has to do the work itself.
var ErrNone = errors.New("no process apart")

// Broken is a worker that did not come back from a file.
type Broken struct {
	Why string // a clause: "it crashed the decoder (segmentation fault)"
}

func (b *Broken) Error() string { return b.Why }

// Handler does the work in the worker: head and in are what the caller sent, out takes
// the bulk of the result, the reply is the rest of it. A panic ends the worker.
type Handler func(head, in, out []byte) (reply []byte)

// Job is one file's way through a worker.
type Job struct {
	w *worker
}

// In is the memory that takes the file's bytes; it is as long as [MaxIn] and only what
// is written to it costs memory.
func (j *Job) In() []byte { return j.w.room[:MaxIn] }

// Out is what the worker wrote. The worker still has access to it: copy first, judge
// then.
func (j *Job) Out() []byte { return j.w.room[MaxIn:] }

func tooLong(d time.Duration) error {
	return &Broken{fmt.Sprintf("its decoder did not come to an end within %.0f s", d.Seconds())}
}
