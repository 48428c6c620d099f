// Command mullion takes a property photographer's memory card and makes the
// finished, delivered pictures. The commands only parse and print: every
// decision is taken in the packages they call.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"mullion/deliver"
	"mullion/record"
)

// version is set by the build.
var version = "dev"

// grammar is the whole command line: one field a command, one file a command.
type grammar struct {
	Finish  finishCmd  `cmd:"" help:"The whole job: copy a card safely, group its frames into views, and make the finished pictures and their gallery."`
	Studio  studioCmd  `cmd:"" help:"Look over a finished house in the browser: order, light, upright lines, removals, delivery. Pages of this machine only."`
	List    listCmd    `cmd:"" help:"Show how the frames of a card group into views, with their exposures, before anything is processed."`
	Check   checkCmd   `cmd:"" help:"On site: say view by view what to keep and what to shoot again, and how."`
	Verify  verifyCmd  `cmd:"" help:"Read every original of a shoot again and compare; say when a card is safe to format."`
	Remove  removeCmd  `cmd:"" help:"Take a cord, a bin or another movable thing out of a view's picture; the unaltered picture is delivered beside it."`
	Soften  softenCmd  `cmd:"" help:"Blur what must stay private in a view's picture, beyond recovery: faces, documents, plates, screens."`
	Room    roomCmd    `cmd:"" help:"Show or name the rooms of a shoot's views, their captions and alternative texts."`
	Order   orderCmd   `cmd:"" help:"Show or change the order of a shoot's pictures, leave views out, and say how many were agreed on."`
	Deliver deliverCmd `cmd:"" help:"Make a shoot's deliveries complete, check them against their sheets, and send them."`
	Merge   mergeCmd   `cmd:"" help:"Merge one bracket into a 32-bit float TIFF for other programs."`
	Plumb   plumbCmd   `cmd:"" help:"Measure how the camera was held, from the picture alone: pitch, roll, yaw, vanishing points."`
	Demo    demoCmd    `cmd:"" help:"Write a memory card of an invented house to try the program on."`
	Config  configCmd  `cmd:"" help:"Show or set who you are: creator, credit line, copyright and contact, as written into the pictures."`
	Version versionCmd `cmd:"" help:"Print the version of the program and of the libraries it uses."`
}

const about = `Mullion makes finished listing photographs from brackets of exposures.

Put the card into the reader and say:

    mullion finish /media/card --to ~/shoots/2026-05-14

The card is only ever read. Its files are copied, compared and kept as they are;
the pictures are in the shoot's folder, under deliveries. Stop with Ctrl-C at any
time: the same command carries on where it stopped.`

func main() { os.Exit(run(os.Args[1:])) }

// run returns the exit status: 0 when everything asked for was done, 1 when some
// of it was not, 2 when the command line can't be understood.
func run(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// A second Ctrl-C ends the program at once.
	context.AfterFunc(ctx, stop)

	var g grammar
	exit := -1
	parser := kong.Must(&g,
		kong.Name("mullion"),
		kong.Description(about),
		kong.Exit(func(code int) { exit = code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 90}),
		kong.Vars{"sheets": strings.Join(deliver.Builtin(), ", "), "removeKinds": record.KindNames(record.Remove), "softenKinds": record.KindNames(record.Soften)},
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if len(args) == 0 {
		args = []string{"--help"}
	}
	command, err := parser.Parse(args)
	if exit >= 0 { // help was printed
		return exit
	}
	if err != nil {
		fmt.Fprintf(os.Stderr, "mullion: %v\nSay \"mullion --help\" for the commands, or \"mullion COMMAND --help\" for one of them.\n", err)
		return 2
	}
	switch err := command.Run(); {
	case err == nil:
		return 0
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(os.Stderr, "Stopped. What is finished is kept; the same command carries on from here.")
		return 130
	case errors.Is(err, errSaid):
		return 1
	default:
		fmt.Fprintf(os.Stderr, "mullion: %v\n", err)
		return 1
	}
}

// errSaid ends a command with status 1 after it has told the reason itself.
var errSaid = errors.New("")
