//go:build amd64 || arm64

package apart

import (
	"encoding/binary"
	"io"
	"os"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

// confined is true when the last worker that was started filters its system calls.
var confined atomic.Bool

// State says in a clause how files are kept apart on this system, for people.
func State() string {
	j, err := Start(background)
	if err != nil {
		return "camera files are decoded in this process: " + err.Error()
	}
	j.Close()
	if !confined.Load() {
		return "camera files are decoded in a process of their own with limits on memory and time; this system refuses a filter for system calls"
	}
	return "camera files are decoded in a process of their own with limits on memory, time and system calls"
}

// Serve turns this process into a worker if it was started as one, and then never
// returns. Else it does nothing. Call it from an init function; prepare runs before
// the process is confined, for what needs to open files.
func Serve(prepare func(), handle Handler) {
	if len(os.Args) != 2 || os.Args[1] != argument || os.Getenv(variable) == "" {
		return
	}
	from, to := os.NewFile(3, "requests"), os.NewFile(4, "replies")
	room, err := unix.Mmap(5, 0, MaxIn+MaxOut, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_SHARED|unix.MAP_NORESERVE)
	if err != nil {
		os.Exit(3)
	}
	unix.Close(5)
	prepare()
	hello := []byte{'y'}
	if limit() != nil {
		os.Exit(3)
	}
	if confine() != nil {
		hello[0] = 'n'
	}
	if send(to, hello) != nil {
		os.Exit(0)
	}
	for {
		head, n, err := receive(from)
		if err != nil { // the parent is gone, or has no more work
			os.Exit(0)
		}
		// A parent that was killed can't end a decoder that hangs.
		watch := time.AfterFunc(MaxWait+time.Minute, func() { os.Exit(3) })
		reply := handle(head, room[:n:n], room[MaxIn:])
		watch.Stop()
		if send(to, reply) != nil {
			os.Exit(0)
		}
	}
}

func receive(from *os.File) (head []byte, n int, err error) {
	var length [8]byte
	if _, err = io.ReadFull(from, length[:]); err != nil {
		return nil, 0, err
	}
	size := binary.LittleEndian.Uint32(length[:])
	n = int(binary.LittleEndian.Uint32(length[4:]))
	if size < 4 || size > maxReply || n > MaxIn {
		return nil, 0, io.ErrUnexpectedEOF
	}
	head = make([]byte, size-4)
	_, err = io.ReadFull(from, head)
	return head, n, err
}

func send(to *os.File, reply []byte) error {
	message := binary.LittleEndian.AppendUint32(make([]byte, 0, 4+len(reply)), uint32(len(reply)))
	_, err := to.Write(append(message, reply...))
	return err
}
