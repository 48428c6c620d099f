package main

import (
	"context"
	"fmt"
	"math"
	"strings"
)

// columns of the table; the first ones need the truth.
var columns = []struct {
	head  string
	form  string
	truth bool
	value func(*row) float64
}{
	{"merge EV", "%.3f", true, func(r *row) float64 { return r.mid }},
	{"flat EV", "%.3f", true, func(r *row) float64 { return r.flat }},
	{"noise/pred", "%.2f", true, func(r *row) float64 { return r.noise }},
	{"ghost", "%.2f", true, func(r *row) float64 { return r.ghost }},
	{"neutral dE", "%.2f", true, func(r *row) float64 { return r.look.neutral }},
	{"colour dE", "%.2f", true, func(r *row) float64 { return r.look.colour }},
	{"halo %", "%.2f", true, func(r *row) float64 { return r.look.halo }},
	{"win detail", "%.3f", true, func(r *row) float64 { return r.look.detail }},
	{"win 255 %", "%.2f", true, func(r *row) float64 { return r.look.blown }},
	{"wall code", "%.0f", true, func(r *row) float64 { return r.look.wall }},
	{"win-wall L*", "%+.0f", true, func(r *row) float64 { return r.look.above }},
	{"clipped %", "%.2f", false, func(r *row) float64 { return r.clipped }},
	{"TMQI S", "%.3f", false, func(r *row) float64 { return r.fidelity }},
	{"TMQI eq", "%.3f", false, func(r *row) float64 { return r.equal }},
	{"MEF-SSIM", "%.3f", false, func(r *row) float64 { return r.structure }},
}

// table measures the sets and prints a line for each of Mullion's pictures, then the
// means of every row.
func (b *bench) table(ctx context.Context, title string, sets []set, truth bool) error {
	if len(sets) == 0 {
		return nil
	}
	fmt.Printf("%s (%d brackets)\n%-38s", title, len(sets), "")
	for _, c := range columns {
		if truth || !c.truth {
			fmt.Printf("%12s", c.head)
		}
	}
	fmt.Println()
	var order []string
	all := map[string][]*row{}
	for _, s := range sets {
		rows, err := b.rows(ctx, s)
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		printRow("  "+s.name, rows[:1], truth)
		for _, r := range rows {
			if all[r.name] == nil {
				order = append(order, r.name)
			}
			all[r.name] = append(all[r.name], r)
		}
	}
	fmt.Println("mean over the brackets:")
	for _, name := range order {
		printRow(name, all[name], truth)
	}
	fmt.Println(strings.Repeat("-", 60))
	return nil
}

// printRow prints the mean of each column over the rows that have a figure.
func printRow(name string, rows []*row, truth bool) {
	fmt.Printf("%-38s", name)
	for _, c := range columns {
		if !truth && c.truth {
			continue
		}
		var sum, n float64
		for _, r := range rows {
			if v := c.value(r); !math.IsNaN(v) && !math.IsInf(v, 0) {
				sum, n = sum+v, n+1
			}
		}
		cell := "-"
		if n > 0 {
			cell = fmt.Sprintf(c.form, sum/n)
		}
		fmt.Printf("%12s", cell)
	}
	fmt.Println()
}
