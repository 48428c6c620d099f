package main

import (
	"fmt"
	"runtime"

	"mullion/rawfile"
	"mullion/rawfile/apart"
)

type versionCmd struct{}

func (versionCmd) Run() error {
	fmt.Printf("mullion %s, LibRaw %s, %s\n", version, rawfile.Version(), runtime.Version())
	fmt.Printf("%s.\n", apart.State())
	return nil
}
