//go:build unix

package cli

import "syscall"

// apart is a session of its own: closing the terminal does not stop it.
func apart() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setpgid: true} }

// stepBack lets every other process go first.
func stepBack(pid int) { _ = syscall.Setpriority(syscall.PRIO_PROCESS, pid, 19) }
