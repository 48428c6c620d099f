package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/term"

	"mullion/deliver/send"
	"mullion/finish"
	"mullion/shoot"
	"mullion/who"
)

type deliverCmd struct {
	Shoot     string   `arg:"" help:"The shoot's folder."`
	Sheet     []string `placeholder:"NAME|FILE" sep:"none" help:"Delivery sheet: ${sheets}, or your own .toml file. May be given several times; listing when left out."`
	To        []string `placeholder:"PLACE" sep:"none" help:"Send it: a folder, sftp://name@host/folder or webdavs://name@host/folder. May be given several times. Each sheet gets a folder of its name there when there are several."`
	Check     bool     `help:"Only say what does not fit the sheets; write nothing."`
	Package   *int     `placeholder:"N" help:"How many pictures were agreed on; the surplus is set aside. 0: all. Kept in the shoot."`
	Title     *string  `placeholder:"TEXT" help:"Heading of the gallery and the contact sheet. Kept in the shoot."`
	Subtitle  *string  `placeholder:"TEXT" help:"A line below it. Kept in the shoot."`
	Branded   *bool    `negatable:"" help:"Write pages that name you too, branded.html, beside those without a name that listing services ask for. Kept in the shoot."`
	Letter    *bool    `negatable:"" help:"Contact sheet on US Letter paper. Kept in the shoot."`
	Key       []string `placeholder:"FILE" sep:"none" help:"Private key to log in with by SFTP, besides those of the agent."`
	HostsFile string   `placeholder:"FILE" help:"The file of known hosts; ~/.ssh/known_hosts when left out."`
	Report    string   `placeholder:"FILE" help:"Write what was done, view by view, as JSON."`
	Jobs      int      `placeholder:"N" help:"How many views to work on at a time."`
}

func (c *deliverCmd) Help() string {
	return "What is finished is used as it is; only what is missing is made. Every file is read back and checked before anything is sent, and again where it arrived.\n\n" +
		"A password is taken from MULLION_PASSWORD or asked for, never from the command line.\n\n" +
		"Examples:  mullion deliver ~/shoots/2026-05-14 --sheet listing --sheet print --package 25\n" +
		"           mullion deliver ~/shoots/2026-05-14 --to sftp://robin@files.example.com/listings/0514"
}

func (c *deliverCmd) Run(ctx context.Context) error {
	sheets := c.Sheet
	if len(sheets) == 0 {
		sheets = []string{"listing"}
	}
	for _, place := range c.To {
		if err := send.CheckAddress(place); err != nil { // before anything is done
			return err
		}
	}
	if err := c.keep(ctx); err != nil {
		return err
	}
	warnings, err := finish.Foresee(ctx, c.Shoot, sheets)
	if err != nil {
		return err
	}
	n := 0
	told := map[string]bool{} // by another sheet already
	for _, list := range warnings {
		for _, s := range list {
			if !told[s] {
				fmt.Println(s)
			}
			told[s] = true
			n++
		}
	}
	if c.Check {
		if n == 0 {
			fmt.Println("Everything fits.")
			return nil
		}
		return errSaid
	}
	report, err := c.make(ctx, sheets)
	if err != nil {
		return err
	}
	dirs := c.summary(report)
	if n := len(report.Failed); n > 0 {
		for _, f := range report.Failed {
			fmt.Fprintf(os.Stderr, "failed: %s\n", said(f))
		}
		fmt.Fprintf(os.Stderr, "%s not as it should be; nothing was sent.\n", plural(n, "thing"))
		return errSaid
	}
	for _, place := range c.To {
		for _, dir := range dirs {
			to := place
			if len(dirs) > 1 {
				to = strings.TrimRight(place, "/") + "/" + filepath.Base(dir)
			}
			if err := c.send(ctx, dir, to); err != nil {
				return err
			}
		}
	}
	return nil
}

// keep writes what was decided into the shoot.
func (c *deliverCmd) keep(ctx context.Context) error {
	if c.Check || c.Package == nil && c.Title == nil && c.Subtitle == nil && c.Branded == nil && c.Letter == nil {
		return nil
	}
	if c.Package != nil && (*c.Package < 0 || *c.Package > 9999) {
		return fmt.Errorf("--package %d is no number of pictures", *c.Package)
	}
	return updateShoot(ctx, c.Shoot, func(d *shoot.Doc) error {
		if d.Pack == nil {
			d.Pack = &shoot.Pack{}
		}
		set(&d.Pack.Count, c.Package)
		set(&d.Pack.Title, c.Title)
		set(&d.Pack.Subtitle, c.Subtitle)
		set(&d.Pack.Branded, c.Branded)
		set(&d.Pack.Letter, c.Letter)
		return nil
	})
}

func set[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

// make makes what is missing and checks all of it.
func (c *deliverCmd) make(ctx context.Context, sheets []string) (*finish.Report, error) {
	photographer, err := who.Load()
	if err != nil {
		return nil, err
	}
	licence, err := who.Licence()
	if err != nil {
		return nil, err
	}
	settings, err := who.Path()
	if err != nil {
		return nil, err
	}
	p := newProgress(os.Stderr)
	report, err := finish.Deliver(ctx, finish.Job{
		Shoot: c.Shoot, Sheets: sheets, Jobs: c.Jobs, Who: photographer, Licence: licence,
		Version: version, Report: p.show, Keys: filepath.Dir(settings),
	})
	p.close()
	if c.Report != "" {
		err = errors.Join(err, report.Write(context.WithoutCancel(ctx), c.Report))
	}
	return report, err
}

// summary prints what was made and where, and returns the folders.
func (c *deliverCmd) summary(r *finish.Report) (dirs []string) {
	count := map[string]int{}
	size := map[string]int64{}
	for _, v := range r.Views {
		for _, f := range v.Files {
			dir := filepath.Dir(f.Path)
			if count[dir] == 0 {
				dirs = append(dirs, dir)
			}
			count[dir]++
			size[dir] += f.Bytes
		}
	}
	for _, dir := range dirs {
		fmt.Printf("%s, %s, in %s, gallery %s\n", plural(count[dir], "picture"), bytesOf(size[dir]), dir, filepath.Join(dir, "index.html"))
	}
	if len(r.Aside) > 0 {
		fmt.Printf("Set aside, since fewer were agreed on: %s. \"mullion order\" changes which.\n", strings.Join(r.Aside, ", "))
	}
	return dirs
}

func bytesOf(n int64) string {
	if n < 1e6 {
		return fmt.Sprintf("%d kB", (n+999)/1000)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// send brings one delivery to one place and says what is there now.
func (c *deliverCmd) send(ctx context.Context, dir, to string) error {
	p := newProgress(os.Stderr)
	access := send.Access{Password: askPassword, KeyFiles: c.Key, KnownHosts: c.HostsFile}
	r, err := finish.Send(ctx, c.Shoot, filepath.Base(dir), to, access, p.show)
	p.close()
	if err != nil {
		return err
	}
	fmt.Printf("%s (%s) are at %s, every one read back and compared; %d sent now", plural(r.Files, "file"), bytesOf(r.Bytes), send.Plain(to), r.Sent)
	if r.Removed > 0 {
		fmt.Printf(", %d of the earlier delivery taken away", r.Removed)
	}
	fmt.Println(".")
	return nil
}

// askPassword takes a password from the environment or, at a terminal, from a person.
func askPassword(user, host string) (string, error) {
	if s, ok := os.LookupEnv("MULLION_PASSWORD"); ok {
		return s, nil
	}
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		return "", fmt.Errorf("%s wants a password for %s: set MULLION_PASSWORD, or run this at a terminal", host, user)
	}
	fmt.Fprintf(os.Stderr, "Password of %s at %s: ", user, host)
	secret, err := term.ReadPassword(int(os.Stdin.Fd()))
	fmt.Fprintln(os.Stderr)
	return string(bytes.TrimRight(secret, "\r\n")), err
}
