//go:build !linux

package main

import (
	"fmt"

	"github.com/rogpeppe/go-internal/testscript"
)

func condition(name string) (bool, error) {
	if name != "smalldisk" {
		return false, fmt.Errorf("unknown condition %q", name)
	}
	return false, nil
}

func smallDisk(ts *testscript.TestScript, neg bool, args []string) {
	ts.Fatalf("smalldisk works on Linux alone")
}
