package cli

import (
	"bytes"
	"context"
	"os"
	"strconv"
	"strings"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/report"
)

func weekCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "week", Usage: "the week's list: to do, must not, to order, to scout, left undone",
		UsageText: "leafturn week\nleafturn week --date 2026-07-20 --ics week.ics\nleafturn week --json\nleafturn week --html week.html",
		Description: "The list is made from what was known on the day: later counts and records do not\n" +
			"change an earlier list. `leafturn why NUMBER` explains a line.",
		Flags: outputFlags(dateOption, &ucli.StringFlag{Name: "ics", Usage: "also write the dated lines as a calendar to `FILE` (RFC 5545); - is standard output"},
			htmlOption),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				if page := c.String("html"); page != "" {
					if c.Bool("json") || c.String("ics") != "" {
						return diag.Usagef("run the command twice", "--html goes without --json and --ics")
					}
					doc, err := a.WeekPage(ctx, day)
					if err != nil {
						return err
					}
					return d.page(ctx, page, doc)
				}
				file := c.String("ics")
				if file == "" {
					doc, err := a.Week(ctx, day)
					if err != nil {
						return err
					}
					return d.show(c, doc)
				}
				doc, warning, err := a.WeekCalendar(ctx, day, d.stageCalendar(file))
				if err != nil {
					return err
				}
				if warning != "" {
					d.warn([]string{warning})
				}
				if file == "-" {
					return nil
				}
				return d.show(c, doc)
			})
		},
	}
}

func whyCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "why", Usage: "what is behind a line of the week's list, or behind a bed and pest",
		UsageText: "leafturn why 3\nleafturn why 3 --date 2026-07-20\nleafturn why B3 slug",
		ArgsUsage: "NUMBER | BED PEST",
		Flags:     outputFlags(dateOption),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, 2, "NUMBER, or BED PEST")
			if err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				if len(w) == 2 {
					return a.WhyBed(ctx, day, w[0], w[1])
				}
				n, err := strconv.Atoi(w[0])
				if err != nil {
					return nil, diag.Usagef("give the number of a line of `leafturn week`, or a bed and a pest, such as `leafturn why B3 slug`", "%q is not the number of a line", w[0])
				}
				return a.WhyLine(ctx, day, n)
			})
		},
	}
}

func dueCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "due", Usage: "which beds and pests are to be scouted, and by when",
		UsageText: "leafturn due\nleafturn due --date 2026-07-20 --json",
		Flags:     outputFlags(dateOption),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Due(ctx, day)
			})
		},
	}
}

func estimateCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "estimate", Usage: "the statistics of a visit, or of a plain list of counts, for an adviser",
		UsageText: "leafturn estimate B3 slug\nleafturn estimate --counts 70*0 38*1 17*2 10*3 9*4 3*5 2*6 1*7\n" +
			"leafturn estimate --counts 12/50 --pest mite",
		ArgsUsage: "BED PEST | --counts NUMBERS...",
		Description: "The latest visit is taken, or the list: counts, a presence sample such as 12/50 (12\n" +
			"infested of 50), or both. In words first, the numbers and their sources under them.\n" +
			"`leafturn calc` has what needs more than one list.",
		Flags: outputFlags(dateOption,
			&ucli.BoolFlag{Name: "counts", Usage: "the words are counts, not a bed and a pest; needs no farm"},
			&ucli.StringFlag{Name: "pest", Usage: "with --counts: the `PEST`, whose published clumping is used then"}),
		Action: func(c *ucli.Context) error {
			if c.Bool("counts") {
				w, err := words(c, 1, -1, "--counts NUMBERS...")
				if err != nil {
					return err
				}
				now, err := d.now()
				if err != nil {
					return err
				}
				doc, err := app.NumbersOf(w, c.String("pest"), civil.DateIn(now, now.Location()))
				if err != nil {
					return err
				}
				return d.show(c, doc)
			}
			w, err := words(c, 2, 2, "BED PEST, or --counts NUMBERS...")
			if err != nil {
				return err
			}
			if c.String("pest") != "" {
				return diag.Usagef("leave --pest out, or write `leafturn estimate --counts NUMBERS... --pest PEST`", "--pest goes with --counts; BED PEST names the pest already")
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Numbers(ctx, day, w[0], w[1])
			})
		},
	}
}

func sampleCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "sample", Usage: "how many to look at: stop lines for a pest, and whether to stop now",
		UsageText: "leafturn sample slug\nleafturn sample mite D5\nleafturn sample mite D5 --so-far 0 3 1 12 0 2\n" +
			"leafturn sample mite --method wald --curve\nleafturn sample mite --draw plan.png\nleafturn sample mite --precision 25\n" +
			"leafturn sample mite D5 --precision 25 --so-far 0 3 1 12 0 2",
		ArgsUsage: "PEST [BED] [--so-far COUNTS...]",
		Description: "A sequential plan: look at one unit after the other and stop as soon as the running\n" +
			"total reaches a line. With --so-far the counts in the field so far come last: it says\n" +
			"stop: act, stop: hold, or go on, and how many more to expect.\n" +
			"It never stops on fewer units than a verdict needs. With --precision it is no plan for a\n" +
			"decision, but how many units it takes to know a mean, and with --so-far whether the counts\n" +
			"so far do.",
		Flags: outputFlags(dateOption,
			&ucli.BoolFlag{Name: "so-far", Usage: "the words after PEST and BED are counts in the field so far"},
			&ucli.StringFlag{Name: "unit", Usage: "the sample `UNIT`, when not the pest's usual one"},
			&ucli.StringFlag{Name: "stage", Usage: "the growth `STAGE`, when not that of the bed (or of most beds)"},
			&ucli.StringFlag{Name: "most", Usage: "decide after `N` units at the latest (default: one and a half times the protocol)"},
			&ucli.StringFlag{Name: "needless", Usage: "risk of acting at half the level, in `PERCENT` (default: 10)"},
			&ucli.StringFlag{Name: "missed", Usage: "risk of holding at one and a half times the level, in `PERCENT` (default: 10)"},
			&ucli.StringFlag{Name: "method", Usage: "`METHOD` of drawing the lines: tuned to the exact risks, or by the books wald or iwao (default: tuned)"},
			&ucli.StringFlag{Name: "clumping", Usage: "how clumped the animals are: `K` of the negative binomial, or poisson, when you know better"},
			&ucli.BoolFlag{Name: "curve", Usage: "for an adviser: chances and units at every density, Wald's formulas beside the exact ones"},
			&ucli.StringFlag{Name: "precision", Usage: "how many units to know the mean to a standard error of so many `PERCENT` of it"},
			&ucli.StringFlag{Name: "draw", Usage: "also draw the curves and the stop lines to `FILE`: .png, .svg or .pdf"},
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, -1, "PEST [BED] [--so-far COUNTS...]")
			if err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				o := app.SampleOptions{Date: day, Pest: w[0], Unit: c.String("unit"), Stage: c.String("stage"), Most: c.String("most"),
					Needless: c.String("needless"), Missed: c.String("missed"),
					Method: c.String("method"), K: c.String("clumping"), Curve: c.Bool("curve"), Precision: c.String("precision"), Draw: c.String("draw")}
				rest := w[1:]
				if len(rest) > 0 && (!c.Bool("so-far") || a.HasBed(rest[0])) {
					o.Bed, rest = rest[0], rest[1:]
				}
				if c.Bool("so-far") {
					if o.SoFar = rest; len(rest) == 0 {
						return nil, diag.Usagef("give the numbers, such as `leafturn sample mite D5 --so-far 0 3 1`", "--so-far has no counts")
					}
				} else if len(rest) > 0 {
					return nil, diag.Usagef("put --so-far before counts; see `leafturn sample --help`", "leafturn sample does not take %q", strings.Join(rest, " "))
				}
				return a.Sample(ctx, o)
			})
		},
	}
}

func trendCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "trend", Usage: "how fast a pest grows in each bed, and which beds stand out of the field",
		UsageText: "leafturn trend mite\nleafturn trend slug --date 2026-06-01 --json",
		ArgsUsage: "PEST",
		Flags:     outputFlags(dateOption),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, 1, "PEST")
			if err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Trend(ctx, day, w[0])
			})
		},
	}
}

func visitsCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "visits", Usage: "the counts as they were entered, with their record numbers",
		UsageText: "leafturn visits B3 slug\nleafturn visits --all --json",
		ArgsUsage: "[BED] [PEST]",
		Flags:     outputFlags(dateOption, &ucli.BoolFlag{Name: "all", Usage: "voided ones too, and every year"}),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 2, "[BED] [PEST]")
			if err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Visits(ctx, day, w, c.Bool("all"))
			})
		},
	}
}

func pestCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "pest", Usage: "what the catalogue knows of a pest, with its sources",
		UsageText: "leafturn pest\nleafturn pest slug\nleafturn pest mite --json",
		ArgsUsage: "[PEST]",
		Flags:     outputFlags(),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 1, "[PEST]")
			if err != nil {
				return err
			}
			now, err := d.now()
			if err != nil {
				return err
			}
			word := ""
			if len(w) == 1 {
				word = w[0]
			}
			doc, err := app.PestDocument(word, civil.DateIn(now, now.Location()), d.units(c.Context))
			if err != nil {
				return err
			}
			return d.show(c, doc)
		},
	}
}

func thresholdCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "threshold", Usage: "the action levels in force, and the farm's own",
		Subcommands: []*ucli.Command{
			{
				Name: "list", Usage: "the levels for dahlias and the farm's own in their place",
				UsageText: "leafturn threshold list slug", ArgsUsage: "[PEST]", Flags: outputFlags(dateOption),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 0, 1, "[PEST]")
					if err != nil {
						return err
					}
					return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
						return a.Thresholds(ctx, day, w)
					})
				},
			},
			{
				Name: "set", Usage: "put the farm's own level in the place of the catalogue's, with a reason",
				UsageText: `leafturn threshold set slug act 2 --reason "2 a trap cost us nothing in two seasons"`,
				ArgsUsage: "PEST watch|act VALUE",
				Flags: outputFlags(
					&ucli.StringFlag{Name: "reason", Usage: "why (needed; it is shown wherever the level is)"},
					&ucli.StringFlag{Name: "unit", Usage: "the sample `UNIT` that the level is for, when not the pest's usual one"},
					dateOption,
				),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 3, 3, "PEST watch|act VALUE")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
						said, err := a.SetThreshold(ctx, day, w[0], w[1], w[2], c.String("unit"), c.String("reason"))
						if err != nil {
							return err
						}
						return d.wrote(c, said, nil)
					})
				},
			},
		},
	}
}

// readFile opens a file that the user names; - is standard input.
func (d *deps) readFile(name string, f func(r *bytes.Reader, name string) error) error {
	var b bytes.Buffer
	if name == "-" {
		if _, err := b.ReadFrom(d.In); err != nil {
			return diag.Failf(err, "", "standard input cannot be read: %v", err)
		}
		return f(bytes.NewReader(b.Bytes()), "standard input")
	}
	info, err := os.Stat(name)
	switch {
	case err != nil:
		return diag.Usagef("check the name and the folder", "the file %q cannot be read: %v", name, cause(err))
	case info.IsDir():
		return diag.Usagef("name a file in it", "%q is a folder", name)
	case info.Size() > maxFile:
		return diag.Usagef("split it", "the file %q has %d MB; at most %d are read", name, info.Size()>>20, maxFile>>20)
	}
	raw, err := os.ReadFile(name)
	if err != nil {
		return diag.Failf(err, "check its permissions", "the file %q cannot be read: %v", name, cause(err))
	}
	return f(bytes.NewReader(raw), name)
}

const maxFile = 64 << 20

// cause returns the part of a file error that is not the file's name.
func cause(err error) error {
	if pe, ok := err.(*os.PathError); ok {
		return pe.Err
	}
	return err
}
