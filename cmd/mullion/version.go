package main

import (
	"fmt"
	"runtime"

	"mullion/rawfile"
)

type versionCmd struct{}

func (versionCmd) Run() error {
	fmt.Printf("mullion %s, LibRaw %s, %s\n", version, rawfile.Version(), runtime.Version())
	return nil
}
