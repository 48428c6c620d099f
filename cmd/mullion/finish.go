package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"mullion/finding"
	"mullion/finish"
	"mullion/who"
)

type finishCmd struct {
	Card    string   `arg:"" help:"The card, or any folder with camera files. It is only read, never written to."`
	To      string   `required:"" placeholder:"SHOOT" help:"The shoot's folder; it is made when it isn't there. One folder for one visit to one property."`
	Second  string   `placeholder:"DIR" help:"Keep a second, verified copy of the originals here, best on another disk."`
	InPlace bool     `help:"Don't copy the originals; work from where they lie."`
	Sheet   []string `placeholder:"NAME|FILE" sep:"none" help:"Delivery sheet: ${sheets}, or your own .toml file. May be given several times; listing when left out."`
	Rooms   []string `placeholder:"ROOM" help:"Names of the rooms in the order they were shot, separated by commas. Names already given in shoot.json stay."`
	Report  string   `placeholder:"FILE" help:"Write what was found and done, view by view, as JSON."`
	Jobs    int      `placeholder:"N" help:"How many views to work on at a time. Left out, it is chosen by their size."`
}

func (c *finishCmd) Run(ctx context.Context) error {
	photographer, err := who.Load()
	if err != nil {
		return err
	}
	licence, err := who.Licence()
	if err != nil {
		return err
	}
	settings, err := who.Path()
	if err != nil {
		return err
	}
	begin := time.Now()
	p := newProgress(os.Stderr)
	report, err := finish.Run(ctx, finish.Job{
		Card: c.Card, Shoot: c.To, Second: c.Second, InPlace: c.InPlace,
		Sheets: c.Sheet, Rooms: c.Rooms, Jobs: c.Jobs,
		Who: photographer, Licence: licence, Version: version, Report: p.show, Keys: filepath.Dir(settings),
	})
	p.close()
	if c.Report != "" {
		err = errors.Join(err, report.Write(context.WithoutCancel(ctx), c.Report))
	}
	if len(report.Views) > 0 {
		c.summary(report, time.Since(begin))
	}
	for _, f := range report.Failed {
		fmt.Fprintf(os.Stderr, "failed: %s\n", said(f))
	}
	if err != nil {
		return err
	}
	if n := len(report.Failed); n > 0 {
		fmt.Fprintf(os.Stderr, "%s; everything else is delivered.\n", plural(n, "thing")+" could not be done")
		return errSaid
	}
	return nil
}

// said is a failure in one line; most reasons name the file themselves.
func said(f finish.Failure) string {
	if len(f.Why) >= len(f.What) && f.Why[:len(f.What)] == f.What {
		return f.Why
	}
	return f.What + ": " + f.Why
}

// summary prints what wants a look and where the pictures are.
func (c *finishCmd) summary(r *finish.Report, spent time.Duration) {
	for _, v := range r.Views {
		for _, f := range v.Findings {
			if f.Severity != finding.Note {
				fmt.Printf("%s: %s\n", name(v), f.Message)
			}
		}
	}
	deliveries := map[string]int{}
	var order []string
	for _, v := range r.Views {
		for _, f := range v.Files {
			dir := filepath.Dir(f.Path)
			if deliveries[dir] == 0 {
				order = append(order, dir)
			}
			deliveries[dir]++
		}
	}
	if len(r.Aside) > 0 {
		fmt.Printf("Set aside, since fewer pictures were agreed on: %s\n", strings.Join(r.Aside, ", "))
	}
	for _, dir := range order {
		fmt.Printf("%s in %s, gallery %s\n", plural(deliveries[dir], "picture"), dir, filepath.Join(dir, "index.html"))
	}
	fmt.Printf("%s in %s\n", plural(len(r.Views), "view"), spent.Round(100*time.Millisecond))
}

func name(v finish.ViewReport) string {
	if v.Room != "" {
		return v.ID + " (" + v.Room + ")"
	}
	return v.ID
}
