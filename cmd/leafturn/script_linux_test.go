package main

import (
	"fmt"
	"os"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"
)

// condition says whether a small disk can be made here: it takes the rights to
// mount one.
func condition(name string) (bool, error) {
	if name != "smalldisk" {
		return false, fmt.Errorf("unknown condition %q", name)
	}
	dir, err := os.MkdirTemp("", "leafturn-disk-")
	if err != nil {
		return false, err
	}
	defer os.Remove(dir)
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		return false, nil
	}
	return true, syscall.Unmount(dir, 0)
}

func smallDisk(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "smalldisk FOLDER SIZE")
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o755))
	ts.Check(syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+args[1]))
	ts.Defer(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			ts.Logf("unmount %s: %v", dir, err)
		}
	})
}
