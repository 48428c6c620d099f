package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"mullion/demo"
	"mullion/internal/raster"
	"mullion/record"
	"mullion/shoot"
	"mullion/simcam"
)

// The test binary is the program itself when this is set, so that what is tested is
// a process with its streams, its signals and its exit status.
const asProgram = "MULLION_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		os.Exit(run(os.Args[1:]))
	}
	var err error
	if root, err = os.MkdirTemp("", "mullion-program-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(root)
	os.Exit(code)
}

var root string // holds the card that the tests share

// card is a card of two small views of three frames, for looking only.
var card = sync.OnceValues(func() (string, error) {
	set := simcam.Defaults()
	set.Scale, set.EV = .3, []float64{-2.667, 0, 2.667}
	var views []simcam.View
	for _, name := range []string{"bath", "guest"} {
		v, err := demo.Truth(name)
		if err != nil {
			return "", err
		}
		views = append(views, v.Scene())
	}
	dir := filepath.Join(root, "card")
	_, err := simcam.LF1().Shoot(context.Background(), dir, views, set, nil)
	return dir, err
})

// ownCard is a copy of the card for a test that changes it.
func ownCard(t *testing.T) string {
	t.Helper()
	master, err := card()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "card")
	if err := os.CopyFS(dir, os.DirFS(master)); err != nil {
		t.Fatal(err)
	}
	return dir
}

// answer is what a run of the program said, and its exit status.
type answer struct {
	out, err string
	status   int
}

func program(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self, args...)
	c.Env = append(os.Environ(), asProgram+"=1", "MULLION_CONFIG="+filepath.Join(os.TempDir(), "no-such-configuration"))
	return c
}

func mullion(t *testing.T, args ...string) answer {
	t.Helper()
	return finished(t, program(t, args...))
}

func finished(t *testing.T, c *exec.Cmd) answer {
	t.Helper()
	var out, errs bytes.Buffer
	c.Stdout, c.Stderr = &out, &errs
	err := c.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	a := answer{out.String(), errs.String(), c.ProcessState.ExitCode()}
	if strings.Contains(a.err, "goroutine ") || strings.Contains(a.err, "panic:") {
		t.Fatalf("the program crashed:\n%s", a.err)
	}
	return a
}

func TestStatus(t *testing.T) {
	dir, to := ownCard(t), filepath.Join(t.TempDir(), "shoot")
	empty := t.TempDir()
	for what, c := range map[string]struct {
		args   []string
		status int
		says   string // on either stream
	}{
		"help":            {[]string{"--help"}, 0, "finish"},
		"nothing":         {nil, 0, "mullion finish /media/card"},
		"help on finish":  {[]string{"finish", "--help"}, 0, "--sheet"},
		"version":         {[]string{"version"}, 0, "LibRaw"},
		"no such command": {[]string{"polish"}, 2, "mullion --help"},
		"no such flag":    {[]string{"finish", dir, "--to", to, "--fast"}, 2, "--fast"},
		"no destination":  {[]string{"finish", dir}, 2, "--to"},
		"no pictures":     {[]string{"finish", empty, "--to", to}, 1, "no pictures"},
		"no folder":       {[]string{"list", filepath.Join(empty, "x")}, 1, "no such folder"},
		"no sheet":        {[]string{"finish", dir, "--to", to, "--sheet", "nosuch"}, 1, "nosuch"},
		"demo over files": {[]string{"demo", filepath.Dir(dir)}, 1, "nothing was written"},
		"merge nothing":   {[]string{"merge", filepath.Join(empty, "a.dng"), "--to", filepath.Join(empty, "a.tif")}, 1, "a.dng"},
	} {
		a := mullion(t, c.args...)
		if a.status != c.status || !strings.Contains(a.out+a.err, c.says) {
			t.Errorf("%s: status %d, want %d; said\n%s%s", what, a.status, c.status, a.out, a.err)
		}
	}
}

func TestFinishReportAndDamage(t *testing.T) {
	dir, to := ownCard(t), filepath.Join(t.TempDir(), "shoot")
	report := filepath.Join(t.TempDir(), "report.json")
	a := mullion(t, "finish", dir, "--to", to, "--rooms", "bath,guest room", "--report", report)
	if a.status != 0 || !strings.Contains(a.out, "2 pictures in") || !strings.Contains(a.out, "index.html") {
		t.Fatalf("status %d\n%s%s", a.status, a.out, a.err)
	}
	b, err := os.ReadFile(report)
	if err != nil || !json.Valid(b) {
		t.Errorf("the report: %v", err)
	}
	bad := filepath.Join(dir, "DCIM", "note.dng")
	if err := os.WriteFile(bad, []byte("this is text"), 0o644); err != nil {
		t.Fatal(err)
	}
	a = mullion(t, "finish", dir, "--to", to)
	if a.status != 1 {
		t.Errorf("status %d with a damaged file, want 1", a.status)
	}
	if n := strings.Count(a.err, "note.dng"); n != 1 {
		t.Errorf("the damaged file is told of %d times:\n%s", n, a.err)
	}
	if a = mullion(t, "list", dir); a.status != 1 || strings.Count(a.err, "note.dng") != 1 || !strings.Contains(a.out, "6 frames in 2 views") {
		t.Errorf("list: status %d\n%s%s", a.status, a.out, a.err)
	}
}

func TestMergeToTIFF(t *testing.T) {
	dir, to := ownCard(t), filepath.Join(t.TempDir(), "one.tif")
	folder := filepath.Join(dir, filepath.FromSlash(simcam.Folder))
	args := []string{"merge", "--to", to}
	for i := 1; i <= 3; i++ {
		args = append(args, filepath.Join(folder, simcam.FileName(i, "DNG")))
	}
	if a := mullion(t, args...); a.status != 0 || strings.Count(a.out, "merged") != 3 {
		t.Fatalf("status %d\n%s%s", a.status, a.out, a.err)
	}
	info, err := os.Stat(to)
	if err != nil || info.Size() < 540*360*12 {
		t.Errorf("the TIFF: %v", err)
	}
	if a := mullion(t, args...); a.status != 1 || !strings.Contains(a.err, "there already") {
		t.Errorf("over an existing file: status %d\n%s", a.status, a.err)
	}
}

// A card of 2,000 frames is listed from its metadata alone: 400 views of five.
func TestListOfTwoThousand(t *testing.T) {
	dir := t.TempDir()
	view := simcam.View{Name: "tiny", FocalMM: 16, Scenes: []simcam.Scene{func(context.Context) (*raster.RGB, error) {
		m := raster.NewRGB(48, 32)
		for _, p := range m {
			for i := range p.Pix {
				p.Pix[i] = .2 + float32(i%48)/48
			}
		}
		return m, nil
	}}}
	views := make([]simcam.View, 400)
	for i := range views {
		views[i] = view
	}
	set := simcam.Defaults()
	set.Uncompressed = true
	if _, err := simcam.LF1().Shoot(t.Context(), dir, views, set, nil); err != nil {
		t.Fatal(err)
	}
	a := mullion(t, "list", "--json", dir)
	var got struct {
		Views []struct {
			ID     string `json:"id"`
			Frames []struct {
				EV float64 `json:"ev"`
			} `json:"frames"`
		} `json:"views"`
	}
	if err := json.Unmarshal([]byte(a.out), &got); err != nil || a.status != 0 {
		t.Fatalf("status %d: %v\n%s", a.status, err, a.err)
	}
	if len(got.Views) != 400 {
		t.Errorf("%d views, want 400", len(got.Views))
	}
	for _, v := range got.Views {
		if len(v.Frames) != 5 || v.Frames[0].EV > -3.9 || v.Frames[4].EV < 3.9 {
			t.Fatalf("%s: %+v", v.ID, v.Frames)
		}
	}
}

// Ctrl-C ends a run with a word and status 130; the shoot can be read.
func TestInterrupt(t *testing.T) {
	dir, to := ownCard(t), filepath.Join(t.TempDir(), "shoot")
	c := program(t, "finish", dir, "--to", to, "--jobs", "1")
	var errs bytes.Buffer
	c.Stderr = &errs
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	for range 1000 { // until the work on the views has begun
		if _, err := os.Stat(filepath.Join(to, "shoot.json")); err == nil {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	c.Wait()
	if code := c.ProcessState.ExitCode(); code != 130 || !strings.Contains(errs.String(), "carries on") {
		t.Errorf("status %d\n%s", code, errs.String())
	}
	if _, err := shoot.Read(to); err != nil {
		t.Error(err)
	}
}

// A process that is killed at any moment leaves a shoot that the next run completes,
// to the same bytes as a run that nobody disturbed.
func TestKilled(t *testing.T) {
	dir := ownCard(t)
	plain, to := filepath.Join(t.TempDir(), "plain"), filepath.Join(t.TempDir(), "killed")
	begin := time.Now()
	if a := mullion(t, "finish", dir, "--to", plain); a.status != 0 {
		t.Fatalf("status %d\n%s", a.status, a.err)
	}
	whole := time.Since(begin)
	kills := 0
	for i := range 3 {
		c := program(t, "finish", dir, "--to", to)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		// Somewhere in the first, second and last third of what an undisturbed run
		// takes; each run carries on from the one before.
		time.Sleep(time.Duration((float64(i) + rand.Float64()) / 3 * float64(whole)))
		c.Process.Kill()
		c.Wait()
		if s, ok := c.ProcessState.Sys().(syscall.WaitStatus); ok && s.Signaled() {
			kills++
		}
		if _, err := shoot.Read(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("after kill %d: %v", i+1, err)
		}
	}
	t.Logf("%d of 3 runs were killed before their end", kills)
	if kills == 0 {
		t.Error("no run was killed: the test proves nothing")
	}
	if a := mullion(t, "finish", dir, "--to", to); a.status != 0 {
		t.Fatalf("after the kills: status %d\n%s%s", a.status, a.out, a.err)
	}
	want, got := sums(t, plain), sums(t, to)
	for path, sum := range want {
		if got[path] != sum {
			t.Errorf("%s differs from an undisturbed run's", path)
		}
	}
	for path := range got {
		if _, ok := want[path]; !ok {
			t.Errorf("%s is left over", path)
		}
	}
}

// sums are the hashes of the originals and the pictures of a shoot.
func sums(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, below := range []string{"originals", "deliveries"} {
		err := filepath.WalkDir(filepath.Join(dir, below), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			rel, err := filepath.Rel(dir, path)
			sum := "(made anew every time)" // the manifest, the contact sheet and the record tell the time
			if ext := filepath.Ext(path); filepath.Base(path) != record.PageName && (ext == ".jpg" || ext == ".DNG" || ext == ".html") {
				sum = fmt.Sprintf("%x", sha256.Sum256(b))
			}
			out[rel] = sum
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// Who the photographer is is set once and ends up in every picture.
func TestConfig(t *testing.T) {
	config := "MULLION_CONFIG=" + t.TempDir()
	with := func(args ...string) answer {
		c := program(t, args...)
		c.Env = append(c.Env, config)
		return finished(t, c)
	}
	if a := with("config", "creator", "Robin Vale"); a.status != 0 {
		t.Fatalf("status %d\n%s", a.status, a.err)
	}
	if a := with("config", "creator"); strings.TrimSpace(a.out) != "Robin Vale" {
		t.Errorf("shown as %q", a.out)
	}
	if a := with("config", "colour", "blue"); a.status != 1 || !strings.Contains(a.err, "creator") {
		t.Errorf("an unknown setting: status %d\n%s", a.status, a.err)
	}
	to := filepath.Join(t.TempDir(), "shoot")
	if a := with("finish", ownCard(t), "--to", to, "--rooms", "bath"); a.status != 0 {
		t.Fatalf("status %d\n%s", a.status, a.err)
	}
	b, err := os.ReadFile(filepath.Join(to, "deliveries", "listing", "01-bath.jpg"))
	if err != nil || !bytes.Contains(b, []byte("Robin Vale")) {
		t.Errorf("the picture does not name its creator (%v)", err)
	}
}
