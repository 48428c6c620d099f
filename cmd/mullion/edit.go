package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"mullion/finish"
	"mullion/record"
	"mullion/shoot"
)

// edits is what remove and soften have in common.
type edits struct {
	Shoot   string   `arg:"" help:"The shoot's folder."`
	View    string   `arg:"" help:"The view, such as view-03 or 3; shoot.json and the run's report name them."`
	Mask    string   `xor:"what" placeholder:"FILE.png" help:"A picture of the upright frame's size, white where something is, black elsewhere."`
	Stroke  []string `sep:"none" placeholder:"'X,Y X,Y @WIDTH'" help:"A line along it in pixels of the upright frame, from the top left, such as '310,1200 420,980 @24'. May be given several times."`
	Box     []string `sep:"none" placeholder:"'X,Y WxH'" help:"A rectangle around it, such as '310,200 180x120'. May be given several times."`
	What    string   `placeholder:"WORDS" help:"What it is, for the caption, such as 'a garden hose'; needed with --kind other."`
	List    bool     `help:"List what was asked for in this view."`
	Undo    bool     `help:"Take back the latest of these."`
	Number  int      `placeholder:"N" help:"With --undo: take back this one."`
	Picture string   `placeholder:"FILE.png" help:"Write the upright frame, to read places from or to paint a mask on."`
}

// run does what the flags say for one kind of action.
func (c *edits) run(ctx context.Context, action record.Action, kind string) error {
	var e shoot.Edit
	asked := c.Mask != "" || len(c.Stroke) > 0 || len(c.Box) > 0
	if asked || kind != "" {
		what, err := record.Check(action, kind, c.What) // before anything else: a refusal needs no shoot
		if err != nil {
			return err
		}
		e = shoot.Edit{Action: string(action), Kind: strings.ToLower(strings.TrimSpace(kind)), What: what, Strokes: c.Stroke, Boxes: c.Box, Version: version}
	}
	s, err := shoot.Open(ctx, c.Shoot)
	if err != nil {
		return err
	}
	defer s.Close()
	view := s.Doc().View(viewID(c.View))
	switch {
	case view == nil:
		return fmt.Errorf("%s has no view %q; it has %s", c.Shoot, c.View, viewNames(s.Doc()))
	case c.List:
		listEdits(view, action)
		return nil
	case c.Undo:
		gone, err := s.UndoEdit(ctx, view.ID, string(action), c.Number)
		if err == nil {
			fmt.Printf("%s: %d (%s) is taken back. Run deliver or finish again to make the picture without it.\n", view.ID, gone.ID, gone.What)
		}
		return err
	case c.Picture != "":
		return c.writePicture(ctx, s, view)
	case !asked:
		return errors.New("say where: --stroke, --box or --mask, in pixels of the upright frame (--picture writes it)")
	}
	return c.enter(ctx, s, view, e)
}

// enter checks the places against the frame and keeps the edit.
func (c *edits) enter(ctx context.Context, s *shoot.Shoot, view *shoot.View, e shoot.Edit) error {
	frame, err := middleFrame(s, view)
	if err != nil {
		return err
	}
	if e.Frame[0], e.Frame[1], err = finish.FrameSize(ctx, frame); err != nil {
		return err
	}
	trial := e
	trial.Mask = c.Mask
	if _, err := finish.Paint(trial, func(p string) string { return p }); err != nil {
		return err
	}
	e, err = s.AddEdit(ctx, view.ID, e, c.Mask)
	if err != nil {
		return err
	}
	fmt.Printf("%s: %d, %s is noted (%s). Run deliver or finish again to make the picture.\n", view.ID, e.ID, e.What, e.Action)
	if e.Action == string(record.Remove) {
		if shown, _ := finish.Gallery(s.Doc()); len(shown) > 0 && shown[0] == view.ID {
			fmt.Println("This is the first picture: listing services ask for it unaltered. Put another picture first, or undo this.")
		}
		fmt.Println("The unaltered picture will be delivered beside it, and the edit record says what was done. Whether it may be published is for local law and the listing service to decide.")
	}
	return nil
}

func (c *edits) writePicture(ctx context.Context, s *shoot.Shoot, view *shoot.View) error {
	frame, err := middleFrame(s, view)
	if err != nil {
		return err
	}
	if _, err := os.Stat(c.Picture); err == nil {
		return fmt.Errorf("%s is there already; give another name or move it away", c.Picture)
	}
	if err := finish.WriteFrame(ctx, frame, c.Picture); err != nil {
		return err
	}
	fmt.Printf("%s: the upright frame of %s\n", c.Picture, view.ID)
	return nil
}

// middleFrame is the frame nearest to the reference exposure.
func middleFrame(s *shoot.Shoot, view *shoot.View) (string, error) {
	best, path := math.Inf(1), ""
	for _, f := range view.Frames {
		if d := math.Abs(f.EV); d < best {
			best, path = d, s.Path(f.Path)
		}
	}
	if path == "" {
		return "", fmt.Errorf("%s has no frames", view.ID)
	}
	return path, nil
}

func listEdits(view *shoot.View, action record.Action) {
	n := 0
	for _, e := range view.Edits {
		if e.Action != string(action) {
			continue
		}
		n++
		fmt.Printf("%3d  %-10s %s, %s\n", e.ID, e.Kind, e.What, e.At.Local().Format("2006-01-02 15:04"))
		for _, p := range append(append([]string{}, e.Strokes...), e.Boxes...) {
			fmt.Printf("     %s\n", p)
		}
		if e.Mask != "" {
			fmt.Printf("     %s\n", e.Mask)
		}
	}
	if n == 0 {
		fmt.Printf("%s has none.\n", view.ID)
	}
}

// viewID takes "3" for "view-03".
func viewID(s string) string {
	if n, err := strconv.Atoi(s); err == nil && n > 0 {
		return fmt.Sprintf("view-%02d", n)
	}
	return s
}

func viewNames(d *shoot.Doc) string {
	var names []string
	for _, v := range d.Views {
		names = append(names, v.ID)
	}
	return strings.Join(names, ", ")
}

type removeCmd struct {
	edits
	Kind string `placeholder:"KIND" help:"What it is: ${removeKinds}."`
}

func (c *removeCmd) Help() string {
	return "What belongs to the property or its surroundings is refused, with the reason: power lines, cracks, stains, outlets, fixed wiring, neighbouring buildings, roads, views, trees. The program reads this in English only; in other languages the same is asked of you.\n\n" +
		"Example:  mullion remove ~/shoots/2026-05-14 3 --kind cord --stroke '310,1200 420,980 640,700 @24'"
}

func (c *removeCmd) Run(ctx context.Context) error { return c.run(ctx, record.Remove, c.Kind) }

type softenCmd struct {
	edits
	Kind string `default:"other" placeholder:"KIND" help:"What it is: ${softenKinds}."`
}

func (c *softenCmd) Help() string {
	return "The place keeps its light and colour and nothing else. It is softened in the unaltered twin too.\n\n" +
		"Example:  mullion soften ~/shoots/2026-05-14 3 --kind face --box '310,200 180x120'"
}

func (c *softenCmd) Run(ctx context.Context) error {
	if c.Kind == "other" && c.What == "" {
		c.What = "something private"
	}
	return c.run(ctx, record.Soften, c.Kind)
}

func isDelivery(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, record.FileName))
	return err == nil
}

// verifyDelivery checks a delivery against its edit record, and the originals when
// the shoot is around it.
func verifyDelivery(ctx context.Context, dir string) error {
	home, err := filepath.Abs(filepath.Join(dir, "..", ".."))
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(home, shoot.FileName)); err != nil {
		home = ""
	}
	v, err := record.Verify(ctx, dir, home)
	if err != nil {
		return err
	}
	for _, f := range v.Faults {
		fmt.Printf("    %s: %s\n", f.Path, f.Problem)
	}
	fmt.Printf("%s: %s as they were signed", dir, plural(v.Files, "file"))
	if v.Originals > 0 {
		fmt.Printf(", %s too", plural(v.Originals, "original"))
	}
	if v.Absent > 0 {
		fmt.Printf(", %s not here to be checked", plural(v.Absent, "original"))
	}
	fmt.Println()
	if v.Fingerprint != "" {
		fmt.Printf("Signed with the key %s; compare it with the one the photographer told you.\n", v.Fingerprint)
	}
	if !v.OK() {
		fmt.Printf("NOT as signed: %s changed, missing or added.\n", plural(len(v.Faults), "file"))
		return errSaid
	}
	return nil
}
