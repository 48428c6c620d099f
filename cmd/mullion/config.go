package main

import (
	"context"
	"fmt"
	"strings"

	"mullion/who"
)

type configCmd struct {
	Key   string  `arg:"" optional:"" help:"The setting to show or set, for instance creator."`
	Value *string `arg:"" optional:"" help:"Its new value; an empty one (\"\") takes the setting out."`

	Licence *string `placeholder:"FILE" help:"Keep this text file as your licence, which goes with every delivery; {year}, {creator} and {studio} in it are filled in. An empty name takes it out."`
}

func (c *configCmd) Help() string {
	text := "What is set here goes into the metadata of every delivered picture; what is not set stays out.\n\nSettings:\n"
	for _, f := range who.Fields() {
		text += fmt.Sprintf("  %-12s %s\n", f.Key, f.Help)
	}
	return text + "\nExample:  mullion config creator \"Robin Vale\""
}

func (c *configCmd) Run(ctx context.Context) error {
	if c.Licence != nil {
		return who.SetLicence(*c.Licence)
	}
	w, err := who.Load()
	if err != nil {
		return err
	}
	if c.Key == "" {
		return showAll(w)
	}
	if c.Value == nil {
		value, err := w.Get(c.Key)
		if err == nil {
			fmt.Println(value)
		}
		return err
	}
	if err := w.Set(c.Key, *c.Value); err != nil {
		return err
	}
	return who.Save(w)
}

func showAll(w who.Who) error {
	path, err := who.Path()
	if err != nil {
		return err
	}
	fmt.Printf("In %s:\n", path)
	for _, f := range who.Fields() {
		value, err := w.Get(f.Key)
		if err != nil {
			return err
		}
		if value == "" {
			value = "(not set)"
		}
		fmt.Printf("  %-12s %s\n", f.Key, value)
	}
	licence, err := who.Licence()
	if err != nil {
		return err
	}
	state := "(not set; --licence FILE sets it)"
	if licence != "" {
		state = plural(len(strings.Fields(licence)), "word") + ", goes with every delivery"
	}
	fmt.Printf("  %-12s %s\n", "licence", state)
	return nil
}
