package studio

import "sync"

// job is the one long piece of work a studio does at a time.
type job struct{ done sync.WaitGroup }

// wait returns when the job has ended.
func (j *job) wait() { j.done.Wait() }
