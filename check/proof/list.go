package proof

import (
	"bufio"
	"fmt"
	"io"
)

// Write writes the list that proves it: a line a file of the card with its hash and its
// copies, tab-separated, after a head that says when it counts.
func (p *Proof) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "# Card %s, read file by file; every copy read back from its disk and compared (SHA-256).\n", p.Card)
	for i, place := range p.Places {
		fmt.Fprintf(b, "# Place %d: %s, %d files sound, %d not.\n", i+1, place.Dir, place.Sound, place.Damaged)
	}
	fmt.Fprintln(b, "# state\tsha256\tbytes\ton the card\tin each place")
	for _, f := range p.Files {
		fmt.Fprintf(b, "%s\t%s\t%d\t%s", f.State, f.SHA256, f.Size, f.Rel)
		for _, c := range f.Copies {
			if c == "" {
				c = "-"
			}
			fmt.Fprintf(b, "\t%s", c)
		}
		fmt.Fprintln(b)
	}
	if p.Safe() {
		fmt.Fprintln(b, "# Every file is proved or was named as not needed.")
	} else {
		fmt.Fprintln(b, "# NOT every file is proved.")
	}
	return b.Flush()
}
