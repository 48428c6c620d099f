package card

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// A test can't kill itself and go on, so it starts its own program again as the copying
// process. The child copies and ends; the parent ends it sooner, with a signal that
// can't be caught.
const (
	childCard = "MULLION_TEST_COPY_FROM"
	childDest = "MULLION_TEST_COPY_TO"
)

func TestKilledChild(t *testing.T) {
	from := os.Getenv(childCard)
	if from == "" {
		t.Skip("this is the process that TestProcessKilled kills")
	}
	files, _, err := Scan(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	dest := os.Getenv(childDest)
	r, err := Copy(t.Context(), files, []string{filepath.Join(dest, "one"), filepath.Join(dest, "two")}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Safe() {
		t.Fatal(r.Err())
	}
}

// Two processes copy the same card to the same places at the same moment: one of them
// does it, the other says that it is being done, or does it afterwards.
func TestTwoProcessesAtOnce(t *testing.T) {
	root, dest := testCard(t), t.TempDir()
	var first, second bytes.Buffer
	a, b := copying(root, dest), copying(root, dest)
	a.Stdout, b.Stdout = &first, &second
	if err := errors.Join(a.Start(), b.Start()); err != nil {
		t.Fatal(err)
	}
	errA, errB := a.Wait(), b.Wait()
	if errA != nil && errB != nil {
		t.Errorf("neither got it done:\n%s\n%s", first.String(), second.String())
	}
	for i, err := range []error{errA, errB} {
		if said := []string{first.String(), second.String()}[i]; err != nil && !strings.Contains(said, "another run is copying") {
			t.Errorf("it failed for another reason than the other run:\n%s", said)
		}
	}
	for _, name := range []string{"one", "two"} {
		wantSame(t, root, filepath.Join(dest, name))
	}
}

// The copying process is really killed at random instants, 20 times, or as often as
// MULLION_KILLS says (make torture: 300). After each, every file that has its name is
// whole, and nothing that is missing is called safe; the next run carries on from there.
func TestProcessKilled(t *testing.T) {
	kills := 20
	if n, err := strconv.Atoi(os.Getenv("MULLION_KILLS")); err == nil && n > 0 {
		kills = n
	}
	root := testCard(t)
	files := scan(t, root)
	whole := timed(t, root, t.TempDir())
	rng := rand.New(rand.NewPCG(1, uint64(time.Now().UnixNano())))
	dest := t.TempDir()
	killed, survived := 0, 0
	for killed < kills && survived < 10*kills {
		wait := time.Duration(rng.Float64() * 1.1 * float64(whole))
		begin := time.Now()
		if killAfter(t, root, dest, wait) {
			killed++
		} else {
			survived++ // it was done before the signal came
			whole = min(whole, time.Since(begin))
		}
		for _, name := range []string{"one", "two"} {
			d := filepath.Join(dest, name)
			wantWholeOrAbsent(t, files, d)
			wantHonest(t, files, d)
		}
		if rng.IntN(4) == 0 { // most go on with what is there, some begin anew
			dest = t.TempDir()
		}
	}
	if killed < kills {
		t.Errorf("only %d runs were killed: %d were done within %v", killed, survived, whole)
	}
	r, err := Copy(t.Context(), files, []string{filepath.Join(dest, "one"), filepath.Join(dest, "two")}, nil)
	if err != nil || !r.Safe() {
		t.Fatal(err, r.Err())
	}
	wantSame(t, root, filepath.Join(dest, "one"))
	wantSame(t, root, filepath.Join(dest, "two"))
	t.Logf("%d runs killed before they were done, %d more were done sooner", killed, survived)
}

func copying(root, dest string) *exec.Cmd {
	c := exec.Command(os.Args[0], "-test.run=^TestKilledChild$")
	c.Env = append(os.Environ(), childCard+"="+root, childDest+"="+dest)
	return c
}

// timed is how long an undisturbed run takes.
func timed(t *testing.T, root, dest string) time.Duration {
	t.Helper()
	begin := time.Now()
	if out, err := copying(root, dest).CombinedOutput(); err != nil {
		t.Fatalf("the copying process: %v\n%s", err, out)
	}
	return time.Since(begin)
}

func killAfter(t *testing.T, root, dest string, wait time.Duration) (killed bool) {
	t.Helper()
	c := copying(root, dest)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(wait, func() { c.Process.Kill() })
	defer timer.Stop()
	return c.Wait() != nil
}

// wantHonest: a manifest that is there can be read, and every file it lists is sound.
func wantHonest(t *testing.T, files []File, dest string) {
	t.Helper()
	m, err := ReadManifest(dest)
	if err != nil {
		t.Errorf("after the kill: %v", err)
		return
	}
	if len(m.Entries()) == 0 {
		return
	}
	list, err := Verify(context.Background(), dest)
	if err != nil {
		t.Error(err)
	}
	for _, v := range list {
		if v.State != Sound && v.State != Unlisted {
			t.Errorf("the manifest lists %s, which is %s", v.Rel, v.State)
		}
	}
}
