package cli

import (
	"os"
	"os/exec"
)

// readyAfter makes today's list ready in a process of its own, which nobody
// waits for, where a command stored so much that making the list would be
// noticed. It is `week` as a person would type it: it reads the store, keeps the
// list in the cache folder, and shows it to nobody. Where it cannot run or is
// stopped, the next `week` makes the list itself.
func (d *deps) readyAfter() {
	if d.app == nil || !d.app.ManyStored() || !d.readies() {
		return
	}
	path, err := d.path()
	if err != nil {
		return
	}
	args := []string{"--db", path}
	if d.nowText != "" {
		args = append(args, "--now", d.nowText)
	}
	_ = d.Start(append(args, "week")...)
}

// readies reports whether a list can be made ready.
func (s Streams) readies() bool { return s.Start != nil && s.Cache != "" }

// startQuiet starts this program once more, with nothing to read and nowhere to
// write, behind all that people wait for.
func startQuiet(args ...string) error {
	exe, err := os.Executable()
	if err != nil {
		return err
	}
	cmd := exec.Command(exe, args...)
	cmd.SysProcAttr = apart()
	if err := cmd.Start(); err != nil {
		return err
	}
	stepBack(cmd.Process.Pid)
	return cmd.Process.Release()
}
