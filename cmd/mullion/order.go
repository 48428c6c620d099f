package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"mullion/finish"
	"mullion/shoot"
)

type orderCmd struct {
	Shoot   string   `arg:"" help:"The shoot's folder."`
	Views   []string `arg:"" optional:"" help:"Views in the order they are to be shown, such as 3 1 2. The others follow as before."`
	Reset   bool     `help:"Forget what was ordered by hand: by shooting time again or, once rooms are named, the way a buyer walks."`
	Aside   []string `placeholder:"VIEW" help:"Leave these views out of every delivery, separated by commas."`
	Back    []string `placeholder:"VIEW" help:"Take these views in again."`
	Package *int     `placeholder:"N" help:"How many pictures were agreed on; the surplus is set aside, from the rooms with the most pictures first. 0: all."`
}

func (c *orderCmd) Help() string {
	return "Without anything else it shows the order. Without an order by hand, pictures follow the time they were taken; once rooms are named, the way a buyer walks: front, entry, living, dining, kitchen, bedrooms each with its bath, garage, garden, views.\n\n" +
		"Example:  mullion order ~/shoots/2026-05-14 4 1 2 --aside 7"
}

func (c *orderCmd) Run(ctx context.Context) error {
	if c.Package != nil && *c.Package < 0 {
		return fmt.Errorf("--package %d is no number of pictures", *c.Package)
	}
	changes := len(c.Views) > 0 || c.Reset || len(c.Aside) > 0 || len(c.Back) > 0 || c.Package != nil
	if changes {
		if err := updateShoot(ctx, c.Shoot, c.change); err != nil {
			return err
		}
	}
	d, err := shoot.Read(c.Shoot)
	if err != nil {
		return err
	}
	showOrder(d)
	if changes {
		fmt.Println("Run finish or deliver again to renew the deliveries; no picture is made twice.")
	}
	return nil
}

func (c *orderCmd) change(d *shoot.Doc) error {
	ids, err := viewsOf(d, c.Views)
	if err != nil {
		return err
	}
	aside, err := viewsOf(d, c.Aside)
	if err != nil {
		return err
	}
	back, err := viewsOf(d, c.Back)
	if err != nil {
		return err
	}
	if c.Reset || len(ids) > 0 {
		for i := range d.Views {
			d.Views[i].Order = 0
		}
	}
	for i, id := range ids {
		d.View(id).Order = i + 1
	}
	for _, id := range aside {
		d.View(id).Decisions.LeaveOut = true
	}
	for _, id := range back {
		d.View(id).Decisions.LeaveOut = false
	}
	if c.Package != nil {
		if d.Pack == nil {
			d.Pack = &shoot.Pack{}
		}
		d.Pack.Count = *c.Package
	}
	return nil
}

// viewsOf reads names of views, which may be numbers and separated by commas.
func viewsOf(d *shoot.Doc, names []string) ([]string, error) {
	var out []string
	for _, n := range names {
		for _, one := range strings.FieldsFunc(n, func(r rune) bool { return r == ',' || r == ' ' }) {
			id := viewID(one)
			if d.View(id) == nil {
				return nil, fmt.Errorf("there is no view %q; there are %s", one, viewNames(d))
			}
			if slices.Contains(out, id) {
				return nil, fmt.Errorf("%s is named twice", id)
			}
			out = append(out, id)
		}
	}
	return out, nil
}

func showOrder(d *shoot.Doc) {
	shown, aside := finish.Gallery(d)
	for i, id := range shown {
		v := d.View(id)
		note := ""
		if v.Order > 0 {
			note = "  (by hand)"
		}
		fmt.Printf("%3d  %-8s  %s%s\n", i+1, id, roomName(v), note)
	}
	for _, id := range aside {
		fmt.Printf("  -  %-8s  %s  (set aside: %s agreed on)\n", id, roomName(d.View(id)), plural(d.Pack.Count, "picture"))
	}
	for _, v := range d.Views {
		if v.Decisions.LeaveOut {
			fmt.Printf("  -  %-8s  %s  (left out)\n", v.ID, roomName(&v))
		}
	}
}

func roomName(v *shoot.View) string {
	if v.Room == "" {
		return "(no room)"
	}
	return v.Room
}

type roomCmd struct {
	Shoot   string  `arg:"" help:"The shoot's folder."`
	View    string  `arg:"" optional:"" help:"The view, such as view-03 or 3; several are separated by commas."`
	Name    *string `arg:"" optional:"" help:"The room's name; an empty one (\"\") takes it out."`
	Caption *string `placeholder:"TEXT" help:"The picture's caption; an empty one brings back the plain sentence made from the room."`
	Alt     *string `placeholder:"TEXT" help:"What the picture shows, for those who don't see it; an empty one brings back the plain sentence."`
}

func (c *roomCmd) Help() string {
	return "Without a view it lists the rooms, with the user's own captions.\n\n" +
		"Examples:  mullion room ~/shoots/2026-05-14 3,4 Kitchen\n" +
		"           mullion room ~/shoots/2026-05-14 3 --caption 'Kitchen with the garden door' --alt 'A white kitchen; a glass door leads to a lawn.'"
}

func (c *roomCmd) Run(ctx context.Context) error {
	if c.View == "" {
		d, err := shoot.Read(c.Shoot)
		if err != nil {
			return err
		}
		for i := range d.Views {
			showRoom(&d.Views[i])
		}
		return nil
	}
	if c.Name == nil && c.Caption == nil && c.Alt == nil {
		d, err := shoot.Read(c.Shoot)
		if err != nil {
			return err
		}
		ids, err := viewsOf(d, []string{c.View})
		for _, id := range ids {
			showRoom(d.View(id))
		}
		return err
	}
	for _, text := range []*string{c.Name, c.Caption, c.Alt} {
		if err := checkText(text); err != nil {
			return err
		}
	}
	return updateShoot(ctx, c.Shoot, func(d *shoot.Doc) error {
		ids, err := viewsOf(d, []string{c.View})
		if err != nil {
			return err
		}
		for _, id := range ids {
			v := d.View(id)
			set(&v.Room, c.Name)
			set(&v.Caption, c.Caption)
			set(&v.Alt, c.Alt)
			showRoom(v)
		}
		return nil
	})
}

// longestText is more than any recipient takes.
const longestText = 4000

func checkText(s *string) error {
	if s == nil {
		return nil
	}
	*s = strings.TrimSpace(strings.ToValidUTF8(*s, ""))
	if len(*s) > longestText {
		return fmt.Errorf("the text %.30q... has %d bytes; %d are the most", *s, len(*s), longestText)
	}
	return nil
}

func showRoom(v *shoot.View) {
	fmt.Printf("%-8s  %s\n", v.ID, roomName(v))
	if v.Caption != "" {
		fmt.Printf("          caption: %s\n", v.Caption)
	}
	if v.Alt != "" {
		fmt.Printf("          alt: %s\n", v.Alt)
	}
}

// updateShoot opens a shoot, changes its document and closes it.
func updateShoot(ctx context.Context, dir string, fn func(*shoot.Doc) error) error {
	s, err := shoot.Open(ctx, dir)
	if err != nil {
		return err
	}
	return errors.Join(s.Update(ctx, fn), s.Close())
}
