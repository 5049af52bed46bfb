package cli

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	ucli "github.com/urfave/cli/v2"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"

	"leafturn/internal/demo"
	"leafturn/internal/diag"
)

func demoCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "demo", Usage: "play an invented season through these same commands, show a week and draw it",
		UsageText: "leafturn demo\nleafturn demo --keep demo-farm\nleafturn demo --pictures pictures",
		Description: "Builds the farm's file in a fresh folder by the commands that you would type,\n" +
			"prints the list of a telling week and draws the season. All data is invented.\nWith --keep the folder stays, to play with. With --pictures every kind of picture is drawn,\nas PNG, SVG and PDF, with a page that shows them.",
		Flags: []ucli.Flag{
			&ucli.StringFlag{Name: "keep", Usage: "leave everything in `FOLDER`, which must be empty or not there"},
			&ucli.StringFlag{Name: "pictures", Usage: "draw every kind of picture, and an index.html, into `FOLDER`, which must be empty or not there"},
			&ucli.BoolFlag{Name: "quiet", Usage: "no progress"},
		},
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return runDemo(c.Context, d, c.String("keep"), c.String("pictures"), c.Bool("quiet"))
		},
	}
}

// runDemo writes the demo's files into a folder and runs its script, line by
// line, through Main: the same code path as a person typing the lines.
func runDemo(ctx context.Context, d *deps, keep, pictures string, quiet bool) error {
	if pictures != "" {
		if keep != "" && filepath.Clean(keep) == filepath.Clean(pictures) {
			return diag.Usagef("name two folders", "--keep and --pictures both name %q", keep)
		}
		if err := emptyFolder(pictures); err != nil {
			return err
		}
	}
	dir := keep
	if keep == "" {
		tmp, err := os.MkdirTemp("", "leafturn-demo-")
		if err != nil {
			return diag.Failf(err, "check that the temporary folder may be written", "no folder for the demo: %v", err)
		}
		defer os.RemoveAll(tmp)
		dir = tmp
	} else if err := emptyFolder(dir); err != nil {
		return err
	}
	if err := demo.Write(dir); err != nil {
		return diag.Failf(err, "check that the folder may be written", "the demo's files cannot be written: %v", err)
	}
	script, err := demo.Script()
	if err != nil {
		return err
	}
	db := filepath.Join(dir, "farm.leafturn")
	bar, stop := progress(d, len(script), quiet)
	defer stop()
	s := d.Streams
	s.Now = func() time.Time { return demo.Now }
	s.Color = false
	for _, line := range script {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := demoLine(ctx, s, dir, db, line); err != nil {
			stop()
			return fmt.Errorf("the demo's line %d, `leafturn %s`: %w", line.Number, strings.Join(line.Words, " "), err)
		}
		bar()
	}
	stop()
	show := s
	show.Color = d.Color
	args := []string{"leafturn", "--db", db, "week", "--date", demo.Week.String(), "--ics", filepath.Join(dir, "week.ics")}
	if err := run(ctx, args, show); err != nil {
		return err
	}
	if pictures != "" {
		if err := drawPictures(ctx, d, db, pictures); err != nil {
			return err
		}
	}
	if keep == "" && pictures == "" {
		d.say("\nThe pictures and the calendar were drawn and thrown away; `leafturn demo --keep FOLDER` leaves them.")
	}
	if keep == "" {
		return nil
	}
	d.say("\nThe invented farm is in %s; ask it things:", db)
	d.say("   leafturn --db %s why 1 --date %s", db, demo.Week)
	d.say("   leafturn --db %s plot mite --bed D5 --out mites.svg --date 2026-10-31", db)
	for _, ext := range []string{"*.png", "*.svg"} {
		drawn, err := filepath.Glob(filepath.Join(dir, ext))
		if err != nil {
			return err
		}
		for _, name := range drawn {
			d.say("drawn: %s", name)
		}
	}
	return nil
}

// demoLine runs one line of the script with the folder's own file names.
func demoLine(ctx context.Context, s Streams, dir, db string, line demo.Line) error {
	args := []string{"leafturn", "--db", db}
	for _, w := range line.Words {
		if name, ok := strings.CutPrefix(w, demo.InFolder); ok {
			w = filepath.Join(dir, filepath.FromSlash(name))
		}
		args = append(args, w)
	}
	var out, errs strings.Builder
	s.Out, s.Err = &out, &errs
	return run(ctx, args, s)
}

func emptyFolder(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case os.IsNotExist(err):
		return os.MkdirAll(dir, 0o755)
	case err != nil:
		return diag.Usagef("name a folder", "%q cannot be used: %v", dir, cause(err))
	case len(entries) > 0:
		return diag.Usagef("name an empty folder or one that is not there yet", "the folder %q is not empty", dir)
	}
	return nil
}

// progress shows a bar on the error stream; step adds one, stop ends it and
// may be called again.
func progress(d *deps, total int, quiet bool) (step, stop func()) {
	if quiet {
		return func() {}, func() {}
	}
	p := mpb.New(mpb.WithOutput(d.Err), mpb.WithWidth(40))
	if !isTerminal(d.Err) {
		fmt.Fprintf(d.Err, "entering an invented season: %d commands\n", total)
		p = mpb.New(mpb.WithOutput(nil))
	}
	bar := p.AddBar(int64(total), mpb.PrependDecorators(decor.Name("entering an invented season ")), mpb.AppendDecorators(decor.CountersNoUnit("%d of %d commands")))
	done := false
	return func() { bar.Increment() }, func() {
		if done {
			return
		}
		done = true
		if !bar.Completed() {
			bar.Abort(false)
		}
		p.Wait()
	}
}
