package main

import (
	"context"
	"fmt"
	"io"
	"os"

	originals "mullion/card"
	"mullion/check/proof"
	"mullion/finish"
)

type verifyCmd struct {
	Shoot  string   `arg:"" help:"The shoot's folder, a folder of originals with its manifest, or the folder of a delivery with its edit record."`
	Second []string `placeholder:"DIR" sep:"none" help:"Another place with copies of the originals. May be given several times."`
	Card   string   `placeholder:"DIR" help:"The card the originals came from: prove that every file on it has a sound copy in every place, and only then call it safe to format."`
	Except []string `placeholder:"PATTERN" sep:"none" help:"Files on the card that need no copy, by name or path, such as '*.CTG'. May be given several times."`
	List   string   `placeholder:"FILE" help:"Write the list that proves it: every file of the card, its hash, and where its copies lie."`
}

// Run ends with status 1 unless everything that was asked for is proved.
func (c *verifyCmd) Run(ctx context.Context) error {
	if isDelivery(c.Shoot) {
		return verifyDelivery(ctx, c.Shoot)
	}
	dirs := []string{proof.Originals(c.Shoot)}
	for _, d := range c.Second {
		dirs = append(dirs, proof.Originals(d))
	}
	p := newProgress(os.Stderr)
	result, err := proof.Check(ctx, dirs, proof.Options{Card: c.Card, Waived: c.Except, Progress: func(step string, done, total int) {
		p.show(finish.Event{Step: step, Done: done, Total: total})
	}})
	p.close()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	for _, place := range result.Places {
		printPlace(place)
	}
	if err != nil {
		fmt.Println("NOT SAFE: the card stays as it is.")
		return err
	}
	if c.List != "" {
		if err := writeFile(c.List, func(w io.Writer) error { return result.Write(w) }); err != nil {
			return err
		}
	}
	if c.Card != "" {
		printCard(result, c.List)
		if !result.Safe() {
			return errSaid
		}
		return nil
	}
	if !result.Whole() {
		return errSaid
	}
	return nil
}

func printPlace(p *proof.Place) {
	if p.Err != nil {
		fmt.Printf("%s: %v\n", p.Dir, p.Err)
		return
	}
	fmt.Printf("%s: %s sound", p.Dir, plural(p.Sound, "file"))
	if p.Damaged > 0 {
		fmt.Printf(", %d NOT", p.Damaged)
	}
	if p.Extra > 0 {
		fmt.Printf(", %d that the manifest doesn't list", p.Extra)
	}
	fmt.Println()
	for _, f := range p.Files {
		if f.State != originals.Sound {
			fmt.Printf("    %s: %v\n", f.State, f.Err)
		}
	}
}

func printCard(r *proof.Proof, list string) {
	fmt.Println()
	proved := 0
	for _, f := range r.Files {
		switch f.State {
		case proof.Proved:
			proved++
		case proof.Unreadable:
			fmt.Printf("    %s: %v\n", f.State, f.Err)
		default:
			fmt.Printf("    %s: %s (%d bytes)\n", f.State, f.Rel, f.Size)
		}
	}
	fmt.Printf("%s: %d of %s have a sound copy in %s.\n", r.Card, proved, plural(len(r.Files), "file"), places(len(r.Places)))
	for _, n := range r.Notes {
		fmt.Println(n)
	}
	if !r.Safe() {
		fmt.Println("NOT SAFE: don't format this card. Copy what is missing (mullion finish, or by hand), or name what you don't need with --except, and verify again.")
		return
	}
	fmt.Println("Every file of the card is proved: safe to format, in the camera.")
	if list == "" {
		fmt.Println("The list that proves it, file by file:")
		r.Write(os.Stdout)
	} else {
		fmt.Printf("The list that proves it: %s\n", list)
	}
}

func places(n int) string {
	if n == 1 {
		return "the one place"
	}
	return fmt.Sprintf("each of %d places", n)
}
