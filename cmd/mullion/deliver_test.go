package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/shoot"
)

// From a finished shoot to a delivery in another place, as a photographer says it.
func TestDeliverFromTheCommandLine(t *testing.T) {
	config := "MULLION_CONFIG=" + t.TempDir()
	with := func(want int, args ...string) answer {
		t.Helper()
		c := program(t, args...)
		c.Env = append(c.Env, config)
		a := finished(t, c)
		if a.status != want {
			t.Fatalf("mullion %s: status %d, want %d\n%s%s", strings.Join(args, " "), a.status, want, a.out, a.err)
		}
		return a
	}
	dir, out := filepath.Join(t.TempDir(), "shoot"), filepath.Join(t.TempDir(), "out")
	licence := filepath.Join(t.TempDir(), "mine.txt")
	if err := os.WriteFile(licence, []byte("Licence of {creator}.\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	with(0, "config", "creator", "Robin Vale")
	with(0, "config", "--licence", licence)
	with(0, "finish", ownCard(t), "--to", dir)
	with(0, "room", dir, "1", "Garden")
	with(0, "room", dir, "2", "Front", "--caption", "The front, in the morning")
	if a := with(0, "order", dir); !strings.Contains(a.out, "  1  view-02   Front") || !strings.Contains(a.out, "  2  view-01   Garden") {
		t.Errorf("the front is not first:\n%s", a.out)
	}
	if a := with(0, "order", dir, "1", "2"); !strings.Contains(a.out, "  1  view-01   Garden  (by hand)") {
		t.Errorf("an order by hand is not kept:\n%s", a.out)
	}
	if a := with(1, "deliver", dir, "--check"); !strings.Contains(a.out, `The first picture is "Garden"`) {
		t.Errorf("the check says\n%s", a.out)
	}
	if _, err := os.Stat(filepath.Join(dir, "deliveries", "listing", "photographs.zip")); err == nil {
		t.Error("the check wrote something")
	}
	with(0, "order", dir, "--reset")
	for _, c := range [][]string{{"order", dir, "7"}, {"order", dir, "1", "1"}, {"room", dir, "9", "Attic"}, {"order", dir, "--package=-1"}, {"deliver", dir, "--to", "ftp://x/y"}, {"deliver", dir, "--to", "sftp://a:b@x/y"}} {
		with(1, c...)
	}
	a := with(0, "deliver", dir, "--to", out, "--title", "12 Example Lane", "--branded", "--sheet", "listing", "--sheet", "print")
	if strings.Count(a.out, "every one read back and compared") != 2 {
		t.Errorf("sending says\n%s", a.out)
	}
	for name, want := range map[string]string{
		"listing/index.html": "12 Example Lane", "listing/licence.txt": "Licence of Robin Vale.", "print/01-front.jpg": "The front, in the morning",
		"listing/photographs.zip": "edit-record.sig", "listing/edit-record.html": "fingerprint", "listing/02-garden.jpg": "Robin Vale",
	} {
		b, err := os.ReadFile(filepath.Join(out, filepath.FromSlash(name)))
		if err != nil || !strings.Contains(string(b), want) {
			t.Errorf("%s lacks %q (%v)", name, want, err)
		}
	}
	with(0, "verify", filepath.Join(out, "listing"))
	d, err := shoot.Read(dir)
	if err != nil || d.Pack == nil || len(d.Pack.Sent) != 2 || d.Pack.Sent[0].Files == 0 || d.Pack.Sent[0].Record == "" {
		t.Fatalf("what was sent is not noted: %+v, %v", d.Pack, err)
	}
	// One agreed on: the surplus goes, there too. The place keeps what is not ours.
	mine := filepath.Join(out, "listing", "note.txt")
	os.WriteFile(mine, []byte("mine"), 0o644)
	a = with(0, "deliver", dir, "--package", "1", "--to", filepath.Join(out, "listing"))
	if !strings.Contains(a.out, "Set aside") || !strings.Contains(a.out, "taken away") {
		t.Errorf("setting aside says\n%s", a.out)
	}
	if _, err := os.Stat(filepath.Join(out, "listing", "02-garden.jpg")); err == nil {
		t.Error("the surplus is still at the place")
	}
	if _, err := os.Stat(mine); err != nil {
		t.Error("somebody else's file is gone")
	}
	// A damaged place is noticed and mended.
	front := filepath.Join(out, "listing", "01-front.jpg")
	b, _ := os.ReadFile(front)
	b[len(b)/2] ^= 1
	os.WriteFile(front, b, 0o644)
	os.Remove(mine)
	with(1, "verify", filepath.Join(out, "listing"))
	if a = with(0, "deliver", dir, "--to", filepath.Join(out, "listing")); !strings.Contains(a.out, "; 1 sent now") {
		t.Errorf("mending says\n%s", a.out)
	}
	with(0, "verify", filepath.Join(out, "listing"))
}
