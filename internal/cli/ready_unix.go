//go:build unix

package cli

import "syscall"

// apart is a group of its own, which no key typed at the terminal stops. A session of
// its own would not do: Linux weighs the priorities of each session by themselves.
func apart() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setpgid: true} }

// stepBack lets every other process go first.
func stepBack(pid int) { _ = syscall.Setpriority(syscall.PRIO_PROCESS, pid, 19) }
