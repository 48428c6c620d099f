//go:build amd64 || arm64

package apart

import (
	"context"
	"fmt"
	"runtime"
	"unsafe"

	"golang.org/x/sys/unix"
)

var background = context.Background()

// limit sets the process's own limits for good: memory (RLIMIT_DATA counts private
// writable memory, the shared part is fixed), files of any size, core dumps.
func limit() error {
	for _, l := range []struct {
		what int
		most uint64
	}{{unix.RLIMIT_DATA, MaxMemory}, {unix.RLIMIT_FSIZE, 0}, {unix.RLIMIT_CORE, 0}, {unix.RLIMIT_NOFILE, 64}} {
		if err := unix.Setrlimit(l.what, &unix.Rlimit{Cur: l.most, Max: l.most}); err != nil {
			return err
		}
	}
	return nil
}

// allowed are the system calls that memory, threads, time and two open pipes need:
// what the Go runtime and the C library do while they decode. Everything else is
// refused: opening files, the network, other processes.
var allowed = append([]uint32{
	unix.SYS_READ, unix.SYS_WRITE, unix.SYS_CLOSE, unix.SYS_FSTAT, unix.SYS_PREAD64,
	unix.SYS_MMAP, unix.SYS_MUNMAP, unix.SYS_MPROTECT, unix.SYS_MREMAP, unix.SYS_MADVISE, unix.SYS_BRK,
	unix.SYS_FUTEX, unix.SYS_SCHED_YIELD, unix.SYS_SCHED_GETAFFINITY, unix.SYS_NANOSLEEP, unix.SYS_CLOCK_NANOSLEEP,
	unix.SYS_CLOCK_GETTIME, unix.SYS_GETTIMEOFDAY, unix.SYS_CLOCK_GETRES,
	unix.SYS_RT_SIGACTION, unix.SYS_RT_SIGPROCMASK, unix.SYS_RT_SIGRETURN, unix.SYS_SIGALTSTACK,
	unix.SYS_SET_ROBUST_LIST, unix.SYS_RSEQ, unix.SYS_GETTID, unix.SYS_GETPID, unix.SYS_GETRANDOM,
	unix.SYS_EPOLL_PWAIT, unix.SYS_EPOLL_CTL, unix.SYS_EPOLL_CREATE1, unix.SYS_EVENTFD2, unix.SYS_FCNTL,
	unix.SYS_RESTART_SYSCALL, unix.SYS_EXIT, unix.SYS_EXIT_GROUP, unix.SYS_GETRUSAGE, unix.SYS_MINCORE, unix.SYS_MEMBARRIER,
	unix.SYS_TIMER_CREATE, unix.SYS_TIMER_SETTIME, unix.SYS_TIMER_DELETE,
}, allowedHere...)

// Offsets in struct seccomp_data (linux/seccomp.h).
const (
	dataCall = 0
	dataArch = 4
	dataArg0 = 16
)

func load(at uint32) unix.SockFilter {
	return unix.SockFilter{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: at}
}

// when compares what was loaded with k and skips as many steps as told.
func when(test uint16, k uint32, yes, no int) unix.SockFilter {
	return unix.SockFilter{Code: unix.BPF_JMP | test | unix.BPF_K, K: k, Jt: uint8(yes), Jf: uint8(no)}
}

func done(verdict uint32) unix.SockFilter {
	return unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: verdict}
}

// program is the filter. Threads may be made, processes not: clone3, whose flags a
// filter can't see, does not exist here, and C library and Go go back to clone. A
// signal may be sent to nobody else.
func program(self uint32) []unix.SockFilter {
	const (
		refuse = unix.SECCOMP_RET_ERRNO | uint32(unix.EPERM)
		absent = unix.SECCOMP_RET_ERRNO | uint32(unix.ENOSYS)
	)
	p := []unix.SockFilter{
		load(dataArch),
		when(unix.BPF_JEQ, arch, 1, 0),
		done(unix.SECCOMP_RET_KILL_PROCESS),
		load(dataCall),
		when(unix.BPF_JGE, 0x40000000, 0, 1), // the x32 calls of x86-64
		done(unix.SECCOMP_RET_KILL_PROCESS),
		when(unix.BPF_JEQ, unix.SYS_CLONE3, 0, 1),
		done(absent),
		when(unix.BPF_JEQ, unix.SYS_CLONE, 0, 4),
		load(dataArg0),
		when(unix.BPF_JSET, unix.CLONE_THREAD, 0, 1),
		done(unix.SECCOMP_RET_ALLOW),
		done(refuse),
		when(unix.BPF_JEQ, unix.SYS_TGKILL, 0, 4),
		load(dataArg0),
		when(unix.BPF_JEQ, self, 0, 1),
		done(unix.SECCOMP_RET_ALLOW),
		done(refuse),
	}
	for _, call := range allowed {
		p = append(p, when(unix.BPF_JEQ, call, 0, 1), done(unix.SECCOMP_RET_ALLOW))
	}
	return append(p, done(refuse))
}

// confine filters the system calls of all threads of this process, for good.
func confine() error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	p := program(uint32(unix.Getpid()))
	f := unix.SockFprog{Len: uint16(len(p)), Filter: &p[0]}
	thread, _, e := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&f)))
	if e != 0 {
		return e
	}
	if thread != 0 {
		return fmt.Errorf("thread %d can't be confined", thread)
	}
	return nil
}
