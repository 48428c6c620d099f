package rawfile

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"unsafe"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile/apart"
)

// here is a file that is about to be decoded: its bytes, and the worker that has them
// too, or nil where there are no workers.
type here struct {
	path string
	data []byte
	job  *apart.Job
}

// withFile reads a file to where it will be decoded and calls use.
func withFile(ctx context.Context, path string, use func(here) error) error {
	job, err := apart.Start(ctx)
	if errors.Is(err, apart.ErrNone) {
		data, err := readFile(ctx, path)
		if err != nil {
			return err
		}
		return use(here{path, data, nil})
	}
	if err != nil {
		return notStarted(path, err)
	}
	defer job.Close()
	n, err := readInto(ctx, path, job.In())
	job.Used(n)
	if err != nil {
		return err
	}
	return use(here{path, job.In()[:n:n], job})
}

// withBytes is withFile for a file in memory.
func withBytes(ctx context.Context, path string, data []byte, use func(here) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if len(data) > apart.MaxIn {
		return tooLarge(path)
	}
	job, err := apart.Start(ctx)
	if errors.Is(err, apart.ErrNone) {
		return use(here{path, data, nil})
	}
	if err != nil {
		return notStarted(path, err)
	}
	defer job.Close()
	n := copy(job.In(), data)
	job.Used(n)
	return use(here{path, job.In()[:n:n], job})
}

func notStarted(path string, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &metadata.FileError{Path: path, Problem: "it can't be decoded: " + err.Error(), Advice: "close other programs and try again", Err: err}
}

// order is what a worker is told beside the file.
type order struct {
	Task string // "frame", "thumb", "info"
	Path string
	Kind metadata.Kind
	Info metadata.Info
	Edge int
}

// answer is what it says beside the samples.
type answer struct {
	Unpacked *unpacked           `json:",omitempty"`
	Info     *metadata.Info      `json:",omitempty"`
	W, H     int                 `json:",omitempty"` // of a small picture
	Problem  *metadata.FileError `json:",omitempty"`
	Failure  string              `json:",omitempty"` // another error
}

func init() {
	apart.Serve(readyForHEIC, func(head, in, out []byte) []byte {
		room = out
		reply, err := json.Marshal(serve(head, in, out))
		if err != nil { // numbers that are none
			reply, _ = json.Marshal(answer{Failure: "its tags hold numbers that make no sense"})
		}
		return reply
	})
}

// serve does one order, in the worker.
func serve(head, in, out []byte) (a answer) {
	var o order
	if err := json.Unmarshal(head, &o); err != nil {
		return answer{Failure: err.Error()}
	}
	ctx := context.Background()
	var err error
	switch o.Task {
	case "frame":
		a.Unpacked = &unpacked{path: o.Path, Info: o.Info}
		err = unpack(ctx, a.Unpacked, o.Kind, in)
	case "info":
		info := librawInfo(o.Info, in)
		a.Info = &info
	case "thumb":
		room = nil // a small picture needs none, what it is made of comes from the pools
		var p *raster.Plane
		if p, err = thumbOf(ctx, o.Path, o.Kind, in, o.Edge); err == nil {
			a.W, a.H = p.W, p.H
			if 4*p.W*p.H > len(out) {
				return answer{Failure: "its preview is too large"}
			}
			dst := floats(out, p.W*p.H)
			for y := range p.H {
				copy(dst[y*p.W:], p.Row(y))
			}
			raster.Put(p)
		}
	default:
		panic("unknown order " + o.Task)
	}
	if err == nil {
		return a
	}
	a = answer{Failure: err.Error()}
	var fe *metadata.FileError
	if errors.As(err, &fe) {
		a.Problem = &metadata.FileError{Path: fe.Path, Problem: fe.Problem, Advice: fe.Advice}
	}
	return a
}

func floats(b []byte, n int) []float32 { return unsafe.Slice((*float32)(unsafe.Pointer(&b[0])), n) }

// ask has the worker do an order.
func (h here) ask(ctx context.Context, o order) (*answer, error) {
	o.Path = h.path
	head, err := json.Marshal(o)
	if err != nil {
		return nil, damaged(h.path, "its tags hold numbers that make no sense", err)
	}
	reply, err := h.job.Do(ctx, head, len(h.data))
	var broken *apart.Broken
	if errors.As(err, &broken) {
		return nil, &metadata.FileError{Path: h.path, Problem: "damaged or hostile: " + broken.Why, Advice: metadata.AdviceCopyAgain, Err: err}
	}
	if err != nil {
		return nil, err
	}
	var a answer
	if err := json.Unmarshal(reply, &a); err != nil {
		return nil, damaged(h.path, "its decoder's answer makes no sense", err)
	}
	switch {
	case a.Problem != nil:
		a.Problem.Path = h.path
		return nil, a.Problem
	case a.Failure != "":
		return nil, damaged(h.path, a.Failure, nil)
	}
	return &a, nil
}

// frame decodes the whole file.
func (h here) frame(ctx context.Context) (*Frame, error) {
	if h.job == nil {
		return decodeHere(ctx, h.path, h.data)
	}
	kind, info, err := open(ctx, h.path, h.data)
	if err != nil {
		return nil, err
	}
	if rendered(h.path, kind, h.data) {
		f := &Frame{Path: h.path, Info: info}
		if err := decodeRendered(ctx, f, h.data, kind); err != nil {
			return nil, err
		}
		return f, nil
	}
	a, err := h.ask(ctx, order{Task: "frame", Kind: kind, Info: info})
	if err != nil {
		return nil, err
	}
	u := a.Unpacked
	if u == nil {
		return nil, damaged(h.path, "its decoder gave no picture", nil)
	}
	u.path = h.path
	keepTime(&u.Info, info)
	if err := u.check(); err != nil {
		return nil, damaged(h.path, err.Error(), nil)
	}
	if err := u.fetch(ctx, h.job); err != nil {
		return nil, err
	}
	return u.frame(ctx)
}

// fetch copies the samples out of the memory shared with the worker.
func (u *unpacked) fetch(ctx context.Context, job *apart.Job) error {
	n := u.size()
	job.Used(n)
	src := job.Out()[:n]
	var dst []byte
	if u.Form == formBytes {
		u.bytes = getBytes(n)
		dst = u.bytes
	} else {
		u.words = raster.GetWords(n / 2)
		dst = unsafe.Slice((*byte)(unsafe.Pointer(&u.words[0])), n)
	}
	const piece = 4 << 20
	return raster.BandsOf(ctx, n, piece, func(a, b int) { copy(dst[a:b], src[a:b]) })
}

// thumb makes a small picture.
func (h here) thumb(ctx context.Context, kind metadata.Kind, edge int) (*raster.Plane, error) {
	if h.job == nil {
		return thumbOf(ctx, h.path, kind, h.data, edge)
	}
	a, err := h.ask(ctx, order{Task: "thumb", Kind: kind, Edge: edge})
	if err != nil {
		return nil, err
	}
	if a.W < 1 || a.H < 1 || a.W > 1<<16 || a.H > 1<<16 || 4*a.W*a.H > apart.MaxOut {
		return nil, damaged(h.path, "its decoder gave no picture", nil)
	}
	p := raster.Get(a.W, a.H)
	src := floats(h.job.Out(), a.W*a.H)
	for y := range p.H {
		copy(p.Row(y), src[y*p.W:(y+1)*p.W])
	}
	return p, ctx.Err()
}

// librawInfo asks the raw library what the tags don't say.
func (h here) librawInfo(ctx context.Context, info metadata.Info) (metadata.Info, error) {
	if h.job == nil {
		return librawInfo(info, h.data), nil
	}
	a, err := h.ask(ctx, order{Task: "info", Info: info})
	if ctx.Err() != nil {
		return info, ctx.Err()
	}
	if err != nil || a.Info == nil {
		return info, nil // the decoder will say what is wrong, if this frame is ever decoded
	}
	keepTime(a.Info, info)
	return *a.Info, nil
}

// keepTime prefers the time that was read in this process: its zone gets lost on the way.
func keepTime(got *metadata.Info, had metadata.Info) {
	if had.Time.IsZero() {
		got.Time = got.Time.UTC()
		return
	}
	got.Time, got.HasZone = had.Time, had.HasZone
}

// readInto reads a file whole into memory that is there.
func readInto(ctx context.Context, path string, into []byte) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	st, err := os.Stat(path)
	if err != nil || st.IsDir() || st.Size() == 0 {
		if _, err := metadata.Read(ctx, path); err != nil { // it has the words
			return 0, err
		}
	}
	if st != nil && st.Size() > int64(len(into)) {
		return 0, tooLarge(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return 0, unreadable(path, err)
	}
	defer f.Close()
	n, err := io.ReadFull(f, into)
	if err == nil {
		return 0, tooLarge(path) // it grew
	}
	if err != io.EOF && err != io.ErrUnexpectedEOF {
		return n, unreadable(path, err)
	}
	return n, ctx.Err()
}
