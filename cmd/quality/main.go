// Command quality prints one table: how good Mullion's pictures are beside what can
// be assembled from libraries, on the same brackets in the same run.
//
//	quality [-size 640] [-keep DIR] [-only NAME] DATA
//
// DATA holds demo-house/ and realdata/. The house is photographed by the simulated
// camera, so that everything can be compared with the truth; the real brackets have
// none, and what needs no truth is measured. OpenCV comes from the system's
// packages; without it its rows are left out.
//
// Brightness and MEF-SSIM pull apart. That measure wants in every place the strongest
// contrast any frame has; above walls at 78 % code there are fifty codes left for
// windows, sun and lamps, and rooms are shown brighter than any frame had them. The
// published fusion loses 0.05 when it is merely raised to our mean (19 real brackets:
// 0.965 to 0.911, TMQI's S 0.848 to 0.819), so it is also shown raised.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	b := &bench{}
	flag.IntVar(&b.size, "size", 640, "long side at which structure is compared, pixels")
	flag.StringVar(&b.keep, "keep", "", "keep the pictures in this folder")
	only := flag.String("only", "", "measure the brackets with this in their name only")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "usage: quality [-size N] [-keep DIR] [-only NAME] DATA")
		os.Exit(2)
	}
	if err := b.run(ctx, flag.Arg(0), *only); err != nil {
		fmt.Fprintln(os.Stderr, "quality:", err)
		os.Exit(1)
	}
}

// bench carries a run.
type bench struct {
	size   int
	keep   string
	work   string
	opencv *library
}

func (b *bench) run(ctx context.Context, data, only string) error {
	var err error
	if b.work, err = os.MkdirTemp("", "mullion-quality-"); err != nil {
		return err
	}
	defer os.RemoveAll(b.work)
	if b.opencv, err = findLibrary(); err != nil {
		fmt.Printf("%v\n\n", err)
	}
	house, err := houseSets(ctx, b.work, data, only)
	if err != nil {
		return err
	}
	if err := b.table(ctx, "The rendered house", house, true); err != nil {
		return err
	}
	if only == "" {
		if err := b.uprights(ctx); err != nil {
			return err
		}
	}
	real, err := realSets(data)
	if err != nil {
		return err
	}
	var chosen []set
	for _, s := range real {
		if strings.Contains(s.name, only) {
			chosen = append(chosen, s)
		}
	}
	if err := b.table(ctx, "Real brackets", chosen, false); err != nil {
		return err
	}
	if strings.Contains("cord", only) {
		return b.cord(ctx, data)
	}
	return nil
}
