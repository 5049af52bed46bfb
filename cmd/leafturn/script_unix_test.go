//go:build unix

package main

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

func init() {
	// nobody is leafturn at $NOW without the rights of the superuser, for
	// whom no file is read-only.
	programs["nobody"] = func() {
		if os.Getuid() == 0 {
			if err := errors.Join(syscall.Setgroups(nil), syscall.Setgid(65534), syscall.Setuid(65534)); err != nil {
				fmt.Fprintln(os.Stderr, "nobody:", err)
				os.Exit(3)
			}
		}
		atNow()
		main()
	}
}
