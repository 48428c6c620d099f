//go:build amd64 || arm64

package apart

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// A worker knows itself by its first argument and by this variable.
const (
	argument = "decode-camera-files"
	variable = "MULLION_DECODER"
)

// worker is the parent's side of one process.
type worker struct {
	room   []byte // shared: the file, then the result
	memory *os.File
	cmd    *exec.Cmd
	to     *os.File // requests
	from   *os.File // replies
	said   *tail
	timer  *time.Timer
	used   int // bytes of room that were written, about
}

// pool holds the workers that wait for work, and bounds how many there are.
var pool struct {
	once  sync.Once
	slots chan struct{}
	sync.Mutex
	free  []*worker
	works bool  // one was started
	none  error // why none can be
}

// Start waits for a worker, or starts one. The job must be given back with Close.
func Start(ctx context.Context) (*Job, error) {
	pool.once.Do(func() { pool.slots = make(chan struct{}, max(1, runtime.GOMAXPROCS(0))) })
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	select {
	case pool.slots <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	pool.Lock()
	defer pool.Unlock()
	for len(pool.free) > 0 {
		w := pool.free[len(pool.free)-1]
		pool.free = pool.free[:len(pool.free)-1]
		if w.timer.Stop() { // else it is being ended at this moment
			return &Job{w}, nil
		}
	}
	err := pool.none
	if err == nil {
		var w *worker
		if w, err = start(); err == nil {
			pool.works = true
			return &Job{w}, nil
		}
		if !pool.works { // where there were workers before, this is no way around them
			err = fmt.Errorf("%w: %w", ErrNone, err)
			pool.none = err
		}
	}
	<-pool.slots
	return nil, err
}

// Close gives the worker back.
func (j *Job) Close() {
	defer func() { <-pool.slots }()
	w := j.w
	if w.cmd == nil { // it broke
		w.unmap()
		return
	}
	w.trim()
	pool.Lock()
	defer pool.Unlock()
	w.timer = time.AfterFunc(idle, w.retire)
	pool.free = append(pool.free, w)
}

// Rest ends the workers that wait, for who knows that there is nothing more to read;
// they would end by themselves some time later.
func Rest() {
	pool.Lock()
	defer pool.Unlock()
	for _, w := range pool.free {
		w.timer.Reset(0)
	}
}

// retire ends a worker that had nothing to do.
func (w *worker) retire() {
	pool.Lock()
	for i, f := range pool.free {
		if f == w {
			pool.free = append(pool.free[:i], pool.free[i+1:]...)
			break
		}
	}
	pool.Unlock()
	w.kill()
	w.unmap()
}

func start() (*worker, error) {
	w := &worker{said: &tail{}}
	fd, err := unix.MemfdCreate("frame", unix.MFD_CLOEXEC|unix.MFD_ALLOW_SEALING)
	if err != nil {
		return nil, fmt.Errorf("shared memory: %w", err)
	}
	w.memory = os.NewFile(uintptr(fd), "frame")
	// The size never changes: a worker that could cut it would crash its parent.
	if err = w.memory.Truncate(MaxIn + MaxOut); err == nil {
		_, err = unix.FcntlInt(uintptr(fd), unix.F_ADD_SEALS, unix.F_SEAL_SHRINK|unix.F_SEAL_GROW|unix.F_SEAL_SEAL)
	}
	if err == nil {
		w.room, err = unix.Mmap(fd, 0, MaxIn+MaxOut, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_SHARED|unix.MAP_NORESERVE)
	}
	if err != nil {
		w.memory.Close()
		return nil, fmt.Errorf("shared memory: %w", err)
	}
	if err := w.launch(); err != nil {
		w.unmap()
		return nil, err
	}
	return w, nil
}

// launch starts the process on the memory.
func (w *worker) launch() error {
	theirIn, to, err := os.Pipe()
	if err != nil {
		return err
	}
	defer theirIn.Close()
	from, theirOut, err := os.Pipe()
	if err != nil {
		to.Close()
		return err
	}
	defer theirOut.Close()
	c := exec.Command("/proc/self/exe", argument)
	// Nothing of the parent's surroundings is needed, and UTC keeps the clock of the
	// camera what it is in both processes.
	c.Env = []string{variable + "=1", "TZ=UTC", "GOTRACEBACK=single", "GOMAXPROCS=" + strconv.Itoa(runtime.GOMAXPROCS(0))}
	for _, name := range []string{"LD_LIBRARY_PATH"} {
		if v, ok := os.LookupEnv(name); ok {
			c.Env = append(c.Env, name+"="+v)
		}
	}
	c.ExtraFiles = []*os.File{theirIn, theirOut, w.memory}
	c.Stderr = w.said
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for the parent
	if err := c.Start(); err != nil {
		to.Close()
		from.Close()
		return fmt.Errorf("the decoder's process can't be started: %w", err)
	}
	w.cmd, w.to, w.from = c, to, from
	from.SetReadDeadline(time.Now().Add(time.Minute))
	if hello, err := w.read(); err != nil || len(hello) != 1 {
		w.kill()
		return errors.New("the decoder's process did not answer")
	} else {
		confined.Store(hello[0] == 'y')
	}
	return nil
}

// Do has the worker do its work on the first n bytes of In. The reply is what its
// handler returned. A worker that breaks is gone, and the error is a [*Broken].
func (j *Job) Do(ctx context.Context, head []byte, n int) ([]byte, error) {
	w := j.w
	if w.cmd == nil {
		return nil, &Broken{"its decoder is gone"}
	}
	w.used = max(w.used, n)
	process := w.cmd.Process
	undisturbed := context.AfterFunc(ctx, func() { process.Kill() })
	defer undisturbed()
	message := make([]byte, 8, 8+len(head))
	binary.LittleEndian.PutUint32(message, uint32(len(head)+4))
	binary.LittleEndian.PutUint32(message[4:], uint32(n))
	_, err := w.to.Write(append(message, head...))
	var reply []byte
	if err == nil {
		reply, err = w.wait()
	}
	if err == nil && undisturbed() {
		return reply, nil
	}
	end := w.kill()
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case errors.Is(err, os.ErrDeadlineExceeded):
		return nil, tooLong(MaxCompute)
	}
	return nil, &Broken{w.why(end)}
}

// wait reads the reply, for as long as the worker is within its limits.
func (w *worker) wait() ([]byte, error) {
	began, before := time.Now(), w.cpu()
	for left := MaxCompute; ; {
		w.from.SetReadDeadline(time.Now().Add(left))
		reply, err := w.read()
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return reply, err
		}
		left = MaxCompute - (w.cpu() - before)
		if left < MaxCompute/50 || time.Since(began) >= MaxWait {
			return nil, err
		}
		left = min(left, MaxWait-time.Since(began))
	}
}

// cpu is the processor time the worker has used (proc(5): fields 14 and 15 of stat, in
// hundredths of a second).
func (w *worker) cpu() time.Duration {
	data, err := os.ReadFile("/proc/" + strconv.Itoa(w.cmd.Process.Pid) + "/stat")
	if err != nil {
		return 0
	}
	f := strings.Fields(string(data[bytes.LastIndexByte(data, ')')+1:]))
	if len(f) < 13 {
		return 0
	}
	u, _ := strconv.Atoi(f[11])
	s, _ := strconv.Atoi(f[12])
	return time.Duration(u+s) * 10 * time.Millisecond
}

// maxReply bounds what a worker may send beside the shared memory.
const maxReply = 16 << 20

// read reads one message. A deadline may only pass before its first byte.
func (w *worker) read() ([]byte, error) {
	var head [4]byte
	if n, err := io.ReadFull(w.from, head[:]); err != nil {
		if n > 0 && errors.Is(err, os.ErrDeadlineExceeded) {
			err = io.ErrUnexpectedEOF
		}
		return nil, err
	}
	n := binary.LittleEndian.Uint32(head[:])
	if n > maxReply {
		return nil, io.ErrUnexpectedEOF
	}
	out := make([]byte, n)
	w.from.SetReadDeadline(time.Now().Add(time.Minute))
	if _, err := io.ReadFull(w.from, out); err != nil {
		return nil, io.ErrUnexpectedEOF
	}
	return out, nil
}

// kill ends the process at once and says how it had ended.
func (w *worker) kill() *os.ProcessState {
	if w.cmd == nil {
		return nil
	}
	// One that is dying by itself gets a moment, so that its own reason is told.
	process := w.cmd.Process
	dying := time.AfterFunc(200*time.Millisecond, func() { process.Kill() })
	w.to.Close()
	w.cmd.Wait()
	dying.Stop()
	w.from.Close()
	end := w.cmd.ProcessState
	w.cmd = nil
	return end
}

func (w *worker) unmap() {
	unix.Munmap(w.room)
	w.memory.Close()
	w.room = nil
}

// why puts a process's end into a clause.
func (w *worker) why(end *os.ProcessState) string {
	first, _, _ := strings.Cut(w.said.String(), "\n")
	if strings.Contains(w.said.String(), "out of memory") || strings.Contains(w.said.String(), "cannot allocate memory") {
		return fmt.Sprintf("its decoder wants more than %d GB of memory", MaxMemory>>30)
	}
	if first == "" && end != nil {
		first = end.String()
	}
	if len(first) > 80 {
		first = first[:80]
	}
	return "it crashed its decoder (" + first + ")"
}

// keepRoom is how much shared memory a waiting worker keeps: a frame of 50 megapixels.
const keepRoom = 256 << 20

// trim gives memory back after a large file.
func (w *worker) trim() {
	if w.used <= keepRoom {
		return
	}
	w.used = 0
	unix.Fallocate(int(w.memory.Fd()), unix.FALLOC_FL_PUNCH_HOLE|unix.FALLOC_FL_KEEP_SIZE, 0, MaxIn+MaxOut)
}

// Used tells how long the result was, so that memory can be given back.
func (j *Job) Used(n int) { j.w.used = max(j.w.used, n) }

// tail keeps the beginning of what a worker says when it dies.
type tail struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if room := 4096 - t.buf.Len(); room > 0 {
		t.buf.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.buf.String()
}
