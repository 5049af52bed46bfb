//go:build unix

package store_test

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The tests of this file need a second process. It is this test binary, told
// by its environment what to do with which store.
const childEnv, childStore = "LEAFTURN_TEST_CHILD", "LEAFTURN_TEST_STORE"

func TestMain(m *testing.M) {
	if job := os.Getenv(childEnv); job != "" {
		if err := children[job](os.Getenv(childStore)); err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

var children = map[string]func(path string) error{
	"hold": func(path string) error { // a transaction that does not end
		s, err := store.Open(ctx, path)
		if err != nil {
			return err
		}
		return s.Update(ctx, func(tx *store.Tx) error {
			for i := range 200 {
				v := slugVisit("A1", "2025-01-01", make([]int, 100)...)
				v.Date = v.Date.AddDays(i)
				if _, err := tx.AddVisit(v, at); err != nil {
					return err
				}
			}
			fmt.Println("holding")
			_, err := io.ReadAll(os.Stdin) // until the parent lets go
			return err
		})
	},
	"write": func(path string) error { return writeMany(path, "B3", 40, func(date string) { fmt.Println(date) }) },
	"endless": func(path string) error {
		return writeMany(path, "B3", 1_000_000, func(date string) { fmt.Println(date) })
	},
	"readonly": readOnlyChild,
}

// writeMany commits one visit after another and tells of each that was stored.
func writeMany(path, bed string, n int, told func(date string)) error {
	s, err := store.Open(ctx, path, store.WithBusyTimeout(20*time.Second))
	if err != nil {
		return err
	}
	defer s.Close()
	for i := range n {
		v := slugVisit(bed, "2000-01-01", 1, 2, 3, -1, 0)
		v.Date = v.Date.AddDays(i)
		if err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(v, at); return err }); err != nil {
			return err
		}
		told(v.Date.String())
	}
	return nil
}

func child(t *testing.T, job, path string) (*exec.Cmd, *bufio.Scanner, io.WriteCloser) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+job, childStore+"="+path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return cmd, bufio.NewScanner(out), in
}

func TestLocked_ByProcess(t *testing.T) {
	s := newStore(t, store.WithBusyTimeout(50*time.Millisecond))
	cmd, out, in := child(t, "hold", s.Path())
	require.True(t, out.Scan())
	require.Equal(t, "holding", out.Text())
	start := time.Now()
	forPeople(t, s.Update(ctx, fillAll), store.ErrLocked)
	assert.Less(t, time.Since(start), 2*time.Second)
	assert.Empty(t, visits(t, s, store.Filter{}), "nothing of the other's half, nothing of ours")
	require.NoError(t, in.Close())
	require.NoError(t, cmd.Wait())
	assert.Len(t, visits(t, s, store.Filter{}), 200)
	update(t, s, fillAll)
	sound(t, s)
}

// A process killed in the middle of a transaction leaves nothing of it.
func TestKilled_InTransaction(t *testing.T) {
	path := filled(t)
	cmd, out, _ := child(t, "hold", path)
	require.True(t, out.Scan())
	require.Equal(t, "holding", out.Text())
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	s, err := store.Open(ctx, path)
	require.NoError(t, err)
	defer s.Close()
	sound(t, s)
	assert.Len(t, visits(t, s, store.Filter{}), 2)
	update(t, s, func(tx *store.Tx) error { return tx.SetFarm(testFarm) })
}

// A process killed at any moment: what it told of is there, and the store is
// sound.
func TestKilled_AnyTime(t *testing.T) {
	for _, wait := range []time.Duration{0, 3, 11, 27, 50} {
		path := filled(t)
		cmd, out, _ := child(t, "endless", path)
		require.True(t, out.Scan())
		told := []string{out.Text()}
		go func() {
			time.Sleep(wait * time.Millisecond)
			_ = cmd.Process.Kill()
		}()
		for out.Scan() {
			told = append(told, out.Text())
		}
		_ = cmd.Wait()
		s, err := store.Open(ctx, path)
		require.NoError(t, err)
		sound(t, s)
		have := map[string]bool{}
		for _, v := range visits(t, s, store.Filter{Bed: "B3", Pest: "slug"}) {
			have[v.Date.String()] = true
		}
		for _, date := range told {
			if len(date) == len("2000-01-01") { // the last line may be cut
				assert.True(t, have[date], date)
			}
		}
		assert.LessOrEqual(t, len(have)-len(told), 1)
		require.NoError(t, s.Close())
	}
}

// Two processes and two goroutines write at once: every visit is there.
func TestWritersAtOnce(t *testing.T) {
	s := newStore(t, store.WithBusyTimeout(20*time.Second))
	cmd, out, _ := child(t, "write", s.Path())
	var wg sync.WaitGroup
	errs := make([]error, 2)
	for i, bed := range []string{"A1", "b10"} {
		wg.Go(func() {
			for n := range 40 {
				v := slugVisit(bed, "2000-01-01", 1, 2, 3, -1, 0)
				v.Date = v.Date.AddDays(n)
				if err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(v, at); return err }); err != nil {
					errs[i] = err
					return
				}
			}
		})
	}
	lines := 0
	for out.Scan() {
		assert.False(t, strings.HasPrefix(out.Text(), "error"), out.Text())
		lines++
	}
	require.NoError(t, cmd.Wait())
	wg.Wait()
	require.Equal(t, make([]error, 2), errs)
	assert.Equal(t, 40, lines)
	assert.Len(t, visits(t, s, store.Filter{}), 120)
	sound(t, s)
}

// Two processes enter the same visits: each is there once, and the loser of
// each is told.
func TestSameVisitAtOnce(t *testing.T) {
	s := newStore(t, store.WithBusyTimeout(20*time.Second))
	cmd, out, _ := child(t, "write", s.Path())
	mine, theirs := 0, 0
	for n := range 40 {
		v := slugVisit("B3", "2000-01-01", 9)
		v.Date = v.Date.AddDays(39 - n) // from the other end
		err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(v, at); return err })
		if err != nil {
			forPeople(t, err, store.ErrDuplicate)
			continue
		}
		mine++
	}
	for out.Scan() {
		if strings.HasPrefix(out.Text(), "error") {
			assert.Contains(t, out.Text(), "is already stored: visit record")
			continue
		}
		if !strings.HasPrefix(out.Text(), " ") {
			theirs++
		}
	}
	_ = cmd.Wait()
	assert.Equal(t, mine+theirs, len(visits(t, s, store.Filter{})))
	sound(t, s)
}

// Rights do not stop root, so the child runs as nobody when we are root.
func TestReadOnly(t *testing.T) {
	dir, err := os.MkdirTemp("", "leafturn-readonly-*")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.Chmod(dir, 0o755); _ = os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	bin := filepath.Join(dir, "child")
	self, err := os.Executable()
	require.NoError(t, err)
	b, err := os.ReadFile(self)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(bin, b, 0o755))

	for _, c := range []struct {
		name                      string
		file, folder              os.FileMode
		open, read, write, create string // what the child says
	}{
		{"all writable", 0o666, 0o777, "ok", "ok", "ok", "ok"},
		{"file read-only", 0o444, 0o777, "ok", "ok", "read-only", "ok"},
		{"folder read-only", 0o444, 0o555, "read-only", "ok", "-", "read-only"},
		{"only the folder read-only", 0o666, 0o555, "read-only", "ok", "-", "read-only"},
		{"file not readable", 0o000, 0o777, "no access", "no access", "-", "ok"},
	} {
		t.Run(c.name, func(t *testing.T) {
			sub := filepath.Join(dir, strings.ReplaceAll(c.name, " ", "-"))
			require.NoError(t, os.Mkdir(sub, 0o777))
			path := copyFile(t, filled(t), filepath.Join(sub, "farm.db"))
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.Chmod(path, c.file))
			require.NoError(t, os.Chmod(sub, c.folder))
			t.Cleanup(func() { _ = os.Chmod(sub, 0o755) })
			cmd := exec.Command(bin)
			cmd.Dir = sub
			cmd.Env = append(os.Environ(), childEnv+"=readonly", childStore+"="+path)
			if os.Getuid() == 0 {
				cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
			}
			out, err := cmd.Output() // a coverage run complains on the other stream
			require.NoError(t, err, string(out))
			assert.Equal(t, fmt.Sprintf("open %s\nread %s\nwrite %s\ncreate %s\n", c.open, c.read, c.write, c.create), string(out))
			if c.write != "ok" {
				require.NoError(t, os.Chmod(path, 0o644))
				after, err := os.ReadFile(path)
				require.NoError(t, err)
				assert.Equal(t, before, after)
			}
		})
	}
}

func readOnlyChild(path string) error {
	word := func(err error) string {
		for w, s := range map[string]error{"read-only": store.ErrReadOnly, "no access": store.ErrNoAccess} {
			if errors.Is(err, s) {
				return w
			}
		}
		if err != nil {
			return strconv.Quote(err.Error())
		}
		return "ok"
	}
	write := "-"
	s, err := store.Open(ctx, path)
	fmt.Println("open", word(err))
	if err == nil {
		if err := s.View(ctx, func(tx *store.Tx) error { _, err := tx.Visits(store.Filter{}); return err }); err != nil {
			return err
		}
		write = word(s.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(testFarm) }))
		if err := s.Close(); err != nil {
			return err
		}
	}
	s, err = store.OpenReadOnly(ctx, path)
	if err == nil {
		var findings []string
		findings, err = s.Check(ctx)
		if len(findings) > 0 {
			return fmt.Errorf("%v", findings)
		}
		if err == nil {
			var tmp string
			if tmp, err = os.MkdirTemp("", "leafturn-copy-*"); err != nil {
				return err
			}
			defer os.RemoveAll(tmp)
			err = s.Backup(ctx, filepath.Join(tmp, "copy.db")) // from a read-only disk
		}
		_ = s.Close()
	}
	fmt.Println("read", word(err))
	fmt.Println("write", write)
	s, err = store.Create(ctx, filepath.Join(filepath.Dir(path), "new.db"), testFarm)
	if err == nil {
		_ = s.Close()
	}
	fmt.Println("create", word(err))
	return nil
}

// Backups while another process writes: each is sound and holds one state, with
// every visit up to some day and none after it.
func TestBackup_WhileWriting(t *testing.T) {
	path := filled(t)
	cmd, out, _ := child(t, "endless", path)
	require.True(t, out.Scan())
	go func() {
		for out.Scan() {
		}
	}()
	s, err := store.Open(ctx, path, store.WithBusyTimeout(20*time.Second))
	require.NoError(t, err)
	defer s.Close()
	last := 0
	for i := range 5 {
		copied := filepath.Join(t.TempDir(), fmt.Sprintf("copy%d.db", i))
		require.NoError(t, s.Backup(ctx, copied))
		c, err := store.Open(ctx, copied)
		require.NoError(t, err)
		sound(t, c)
		vs := visits(t, c, store.Filter{Bed: "B3", Pest: "slug"})
		require.NotEmpty(t, vs)
		for n, v := range vs {
			require.Equal(t, day("2000-01-01").AddDays(n), v.Date)
		}
		require.GreaterOrEqual(t, len(vs), last)
		last = len(vs)
		require.NoError(t, c.Close())
	}
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
}
