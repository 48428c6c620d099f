//go:build linux && (amd64 || arm64)

package apart

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The test binary is its own worker. Its handler does what a decoder in the hands of a
// hostile file might.
func init() {
	Serve(func() {}, func(head, in, out []byte) []byte {
		switch order, arg, _ := strings.Cut(string(head), " "); order {
		case "reverse":
			for i, b := range in {
				out[len(in)-1-i] = b
			}
			return fmt.Append(nil, len(in))
		case "segfault":
			unix.Tgkill(unix.Getpid(), unix.Gettid(), unix.SIGSEGV)
			time.Sleep(time.Hour)
		case "panic":
			panic("the file said so")
		case "exit":
			os.Exit(0)
		case "hang":
			time.Sleep(time.Hour)
		case "spin":
			for i := 0; ; i++ {
				out[i&1]++
			}
		case "hog":
			var all [][]byte
			for { // not touched, so that the test itself takes none
				all = append(all, make([]byte, 64<<20))
				out[0] = byte(len(all))
			}
		case "flood":
			return make([]byte, maxReply+1)
		case "open":
			_, err := os.Open(arg)
			return fmt.Append(nil, err)
		case "write":
			return fmt.Append(nil, os.WriteFile(arg, in, 0o666))
		case "connect":
			_, err := net.Dial("tcp", arg)
			return fmt.Append(nil, err)
		case "execute":
			return fmt.Append(nil, exec.Command(arg).Run())
		case "fork":
			pid, _, e := unix.RawSyscall(unix.SYS_CLONE, uintptr(unix.SIGCHLD), 0, 0)
			return fmt.Append(nil, int(pid), e)
		case "signal":
			return fmt.Append(nil, unix.Kill(unix.Getppid(), unix.SIGTERM))
		case "cut":
			return fmt.Append(nil, unix.Ftruncate(5, 0))
		}
		return []byte("?")
	})
}

func do(t *testing.T, ctx context.Context, head string, in []byte) (reply, out string, err error) {
	t.Helper()
	j, err := Start(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	n := copy(j.In(), in)
	r, err := j.Do(ctx, []byte(head), n)
	if err == nil {
		out = string(j.Out()[:n])
	}
	return string(r), out, err
}

func wantReverse(t *testing.T) {
	t.Helper()
	r, out, err := do(t, t.Context(), "reverse", []byte("drawer"))
	if err != nil || r != "6" || out != "reward" {
		t.Errorf("%q %q %v", r, out, err)
	}
}

// A worker serves many files, several workers at a time.
func TestManyFiles(t *testing.T) {
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 20 {
				wantReverse(t)
			}
		})
	}
	wg.Wait()
	if pool.Lock(); len(pool.free) == 0 || len(pool.free) > cap(pool.slots) {
		t.Errorf("%d workers wait, of at most %d", len(pool.free), cap(pool.slots))
	}
	pool.Unlock()
	if s := State(); !strings.Contains(s, "system calls") {
		t.Error(s)
	}
}

// Whatever ends a worker is one error, with a reason, and the next file is served.
func TestBreaks(t *testing.T) {
	compute, wait := MaxCompute, MaxWait
	defer func() { MaxCompute, MaxWait = compute, wait }()
	for _, c := range []struct{ order, want string }{
		{"segfault", "segmentation violation"},
		{"panic", "the file said so"},
		{"exit", "crashed"},
		{"flood", "crashed"},
		{"hang", "did not come to an end"},
		{"spin", "did not come to an end"},
	} {
		MaxCompute, MaxWait = compute, wait
		if c.order == "hang" {
			MaxCompute, MaxWait = 200*time.Millisecond, 600*time.Millisecond
		}
		if c.order == "spin" {
			MaxCompute = 300 * time.Millisecond
		}
		_, _, err := do(t, t.Context(), c.order, nil)
		var broken *Broken
		if !errors.As(err, &broken) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", c.order, err)
		}
		wantReverse(t)
	}
}

// A worker can't take the machine's memory.
func TestMemory(t *testing.T) {
	_, _, err := do(t, t.Context(), "hog", nil)
	if err == nil || !strings.Contains(err.Error(), "more than 4 GB of memory") {
		t.Error(err)
	}
	wantReverse(t)
}

// What a worker asks of the system beyond memory and time is refused.
func TestConfined(t *testing.T) {
	secret := t.TempDir() + "/secret"
	if err := os.WriteFile(secret, []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	for _, order := range []string{"open " + secret, "write " + secret + "2", "connect " + listener.Addr().String(), "execute /bin/true", "fork", "signal", "cut"} {
		r, _, err := do(t, t.Context(), order, []byte("x"))
		if err != nil || !strings.Contains(r, "not permitted") && !strings.Contains(r, "bad file descriptor") {
			t.Errorf("%s: %q %v", order, r, err)
		}
	}
	if _, err := os.Stat(secret + "2"); err == nil {
		t.Error("a file was written")
	}
}

// Stopping is at once, also while a worker hangs.
func TestStop(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, stop)
	if _, _, err := do(t, ctx, "hang", nil); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if _, err := Start(ctx); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	wantReverse(t)
}

// A worker that nobody needs ends.
func TestIdle(t *testing.T) {
	before := idle
	defer func() { idle = before }()
	idle = 50 * time.Millisecond
	wantReverse(t)
	pool.Lock()
	pid := pool.free[len(pool.free)-1].cmd.Process.Pid
	pool.Unlock()
	for range 500 {
		if unix.Kill(pid, 0) != nil {
			idle = before
			wantReverse(t)
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Error("the worker is still there")
}

// BenchmarkCall is what going there and back costs with a file of 30 MB and a result
// of 48, as a frame of 24 megapixels has.
func BenchmarkCall(b *testing.B) {
	in := bytes.Repeat([]byte("mosaic"), 5e6)
	out := make([]byte, 48_000_000)
	b.SetBytes(int64(len(in) + len(out)))
	for b.Loop() {
		j, err := Start(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		n := copy(j.In(), in)
		if _, err := j.Do(b.Context(), []byte("?"), n); err != nil {
			b.Fatal(err)
		}
		copy(out, j.Out())
		j.Close()
	}
}
