//go:build unix

package main

import (
	"os"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"
)

func init() {
	// pipe FILE FROM makes a named pipe that gives the content of FROM.
	commands["pipe"] = func(ts *testscript.TestScript, neg bool, args []string) {
		usage(ts, neg, len(args) == 2, "pipe FILE FROM")
		path := ts.MkAbs(args[0])
		ts.Check(syscall.Mkfifo(path, 0o600))
		text := ts.ReadFile(args[1])
		go func() {
			if f, err := os.OpenFile(path, os.O_WRONLY, 0); err == nil {
				_, _ = f.WriteString(text)
				f.Close()
			}
		}()
	}
}
