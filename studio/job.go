package studio

import (
	"context"
	"sync"
)

// job is the one long piece of work a studio does at a time.
type job struct {
	mu      sync.Mutex
	running bool
	cancel  context.CancelFunc
	done    sync.WaitGroup
	last    event
}

// wait returns when the job has ended.
func (j *job) wait() { j.done.Wait() }
