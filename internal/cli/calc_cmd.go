package cli

import (
	"bytes"
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/report"
)

// calcCommand has the figures that need more than one list of counts.
func calcCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "calc", Usage: "figures for an adviser: clumping, pest-days, growth, life tables, efficacy, injury level",
		Subcommands: []*ucli.Command{calcClumping(d), calcPestDays(d), calcGrowth(d), calcLifeTable(d), calcEfficacy(d), calcInjury(d)},
	}
}

// today is the day on the computer's clock, for commands that need no farm.
func (d *deps) today() (civil.Date, error) {
	now, err := d.now()
	return civil.DateIn(now, now.Location()), err
}

// ofFile shows the document that f makes of the file that --file names.
func (d *deps) ofFile(c *ucli.Context, f func(r *bytes.Reader, name string, today civil.Date) (*report.Document, error)) error {
	if _, err := words(c, 0, 0, "--file FILE"); err != nil {
		return err
	}
	today, err := d.today()
	if err != nil {
		return err
	}
	return d.readFile(c.String("file"), func(r *bytes.Reader, name string) error {
		doc, err := f(r, name, today)
		if err != nil {
			return err
		}
		return d.show(c, doc)
	})
}

var fromOption = &ucli.StringFlag{Name: "from", Usage: "leave out what was counted before `DAY`"}

// between is answer with the day that --from gives, zero where it does not.
func (d *deps) between(c *ucli.Context, f func(ctx context.Context, a *app.App, from, day civil.Date) (*report.Document, error)) error {
	return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
		if !c.IsSet("from") {
			return f(ctx, a, civil.Date{}, day)
		}
		from, err := dateFlag(c.String("from"), a.Today())
		switch {
		case err != nil:
			return nil, err
		case from.After(day):
			return nil, diag.Usagef("give an earlier day", "--from %s lies after %s", from, day)
		}
		return f(ctx, a, from, day)
	})
}

func calcClumping(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "clumping", Usage: "how a pest clumps over visits: Taylor, Iwao, one k, mean from the share infested",
		UsageText: "leafturn calc clumping mite\nleafturn calc clumping --file plots.txt --share 12/50",
		ArgsUsage: "PEST | --file FILE",
		Description: "Of a pest all valid visits to random units are taken, of every year. A file has one\n" +
			"sample a line, such as: plot 7: 3 0 1 12 0. A name before a colon is optional.",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "file", Usage: "read the samples from `FILE` (- is standard input); needs no farm"},
			&ucli.StringFlag{Name: "unit", Usage: "the sample `UNIT`, when not the pest's usual one"},
			&ucli.StringFlag{Name: "share", Usage: "also the mean that a presence sample stands for, such as `12/50`"}),
		Action: func(c *ucli.Context) error {
			if c.IsSet("file") {
				if c.IsSet("unit") {
					return diag.Usagef("leave --unit out", "--unit goes with a pest, not with --file")
				}
				return d.ofFile(c, func(r *bytes.Reader, name string, today civil.Date) (*report.Document, error) {
					return app.ClumpingOf(r, name, c.String("share"), today)
				})
			}
			w, err := words(c, 1, 1, "PEST, or --file FILE")
			if err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Clumping(ctx, day, w[0], c.String("unit"), c.String("share"))
			})
		},
	}
}

func calcPestDays(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "pest-days", Usage: "how many there were and for how long, added up over the season",
		UsageText: "leafturn calc pest-days B3 slug\nleafturn calc pest-days --means 2026-06-01=0 2026-06-08=1.2 2026-06-15=4.5",
		ArgsUsage: "BED PEST | --means DATE=MEAN...",
		Flags:     outputFlags(dateOption, fromOption, &ucli.BoolFlag{Name: "means", Usage: "the words are days with the mean per unit; needs no farm"}),
		Action: func(c *ucli.Context) error {
			if c.Bool("means") {
				if c.IsSet("from") {
					return diag.Usagef("leave the earlier readings out", "--from goes with BED PEST, not with --means")
				}
				w, err := words(c, 1, -1, "--means DATE=MEAN...")
				if err != nil {
					return err
				}
				today, err := d.today()
				if err != nil {
					return err
				}
				doc, err := app.PestDaysOf(w, today)
				if err != nil {
					return err
				}
				return d.show(c, doc)
			}
			w, err := words(c, 2, 2, "BED PEST, or --means DATE=MEAN...")
			if err != nil {
				return err
			}
			return d.between(c, func(ctx context.Context, a *app.App, from, day civil.Date) (*report.Document, error) {
				return a.PestDays(ctx, from, day, w[0], w[1])
			})
		},
	}
}

func calcLifeTable(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "life-table", Usage: "the rate of increase of a life table: ages, shares alive, daughters of a female",
		UsageText: "leafturn calc life-table 5=0.83,2.1 10=0.6,4 15=0.2,1.5",
		ArgsUsage: "AGE=ALIVE,DAUGHTERS...",
		Flags:     outputFlags(),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, -1, "AGE=ALIVE,DAUGHTERS...")
			if err != nil {
				return err
			}
			today, err := d.today()
			if err != nil {
				return err
			}
			doc, err := app.LifeTableOf(w, today)
			if err != nil {
				return err
			}
			return d.show(c, doc)
		},
	}
}

func calcGrowth(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "growth", Usage: "growth per week by regression, over a bed's season or a file of dated counts",
		UsageText: "leafturn calc growth B3 slug\nleafturn calc growth --file dated.txt",
		ArgsUsage: "BED PEST | --file FILE",
		Description: "A file has one day a line: 2026-06-01 3 0 1 12 0. Or the animals of all units\n" +
			"together with the units behind them: 2026-06-01 311 effort=504.",
		Flags: outputFlags(dateOption, fromOption, &ucli.StringFlag{Name: "file", Usage: "read dated counts from `FILE` (- is standard input); needs no farm"}),
		Action: func(c *ucli.Context) error {
			if c.IsSet("file") {
				if c.IsSet("from") {
					return diag.Usagef("leave the earlier lines out", "--from goes with BED PEST, not with --file")
				}
				return d.ofFile(c, app.GrowthOf)
			}
			w, err := words(c, 2, 2, "BED PEST, or --file FILE")
			if err != nil {
				return err
			}
			return d.between(c, func(ctx context.Context, a *app.App, from, day civil.Date) (*report.Document, error) {
				return a.Growth(ctx, from, day, w[0], w[1])
			})
		},
	}
}

func calcEfficacy(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "efficacy", Usage: "how well a step worked, from counts before and after, treated and untreated",
		UsageText: "leafturn calc efficacy --treated-before 240/40 --treated-after 36/40 --untreated-before 210/40 --untreated-after 252/40 --k 0.8\n" +
			"leafturn calc efficacy --treated-after '4 0 1 1 0' --untreated-after '4 2 6 9 8'\n" +
			"leafturn calc efficacy --treated-dead 26/40 --untreated-dead 1/40",
		Description: "Each is a list of counts in quotation marks, or the total on so many units: 240/40.\n" +
			"`leafturn worked` does this for the farm's own steps.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "treated-before", Usage: "`COUNTS` where it was done, before"},
			&ucli.StringFlag{Name: "treated-after", Usage: "`COUNTS` where it was done, after"},
			&ucli.StringFlag{Name: "untreated-before", Usage: "`COUNTS` where nothing was done, before"},
			&ucli.StringFlag{Name: "untreated-after", Usage: "`COUNTS` where nothing was done, after"},
			&ucli.StringFlag{Name: "k", Usage: "the dispersion `K` of the counts (default: fitted from the lists)"},
			&ucli.StringFlag{Name: "treated-dead", Usage: "dead of the treated, as `DEAD/ALL`"},
			&ucli.StringFlag{Name: "untreated-dead", Usage: "dead of the untreated, as `DEAD/ALL`"},
		),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, "--treated-after COUNTS --untreated-after COUNTS"); err != nil {
				return err
			}
			today, err := d.today()
			if err != nil {
				return err
			}
			doc, err := app.Efficacy(app.EfficacyOptions{
				TreatedBefore: c.String("treated-before"), TreatedAfter: c.String("treated-after"),
				UntreatedBefore: c.String("untreated-before"), UntreatedAfter: c.String("untreated-after"),
				TreatedDead: c.String("treated-dead"), UntreatedDead: c.String("untreated-dead"), K: c.String("k"),
			}, today)
			if err != nil {
				return err
			}
			return d.show(c, doc)
		},
	}
}

func calcInjury(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "injury-level", Usage: "from how many on control pays, from costs and losses",
		UsageText: "leafturn calc injury-level --cost 18 --value 1.20 --injury 0.01 --loss 400 --prevented 70%\n" +
			"leafturn calc injury-level --cost 20/acre --value 500 --injury 10%/800 --loss 1/acre --doubling 7 --lead 7",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "cost", Usage: "`MONEY` that the control costs: for the bed, or for an area (20/acre)"},
			&ucli.StringFlag{Name: "value", Usage: "`MONEY` that one unit of yield is worth, such as a stem"},
			&ucli.StringFlag{Name: "injury", Usage: "`SHARE` of full injury that one animal on a unit does: 0.01, or 10%/800"},
			&ucli.StringFlag{Name: "loss", Usage: "`YIELD` lost at full injury: for the bed, or for an area (2000/acre)"},
			&ucli.StringFlag{Name: "prevented", Usage: "`SHARE` of the loss that the control prevents (default: 100%)"},
			&ucli.StringFlag{Name: "growth", Usage: "`TIMES` more a week, as `leafturn trend` says"},
			&ucli.StringFlag{Name: "doubling", Usage: "or the `DAYS` to double"},
			&ucli.StringFlag{Name: "lead", Usage: "`DAYS` from the decision until the control works"},
		),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, "--cost MONEY --value MONEY --injury SHARE --loss YIELD"); err != nil {
				return err
			}
			today, err := d.today()
			if err != nil {
				return err
			}
			doc, err := app.InjuryLevel(app.InjuryOptions{
				Cost: c.String("cost"), Value: c.String("value"), Injury: c.String("injury"), Loss: c.String("loss"), Prevented: c.String("prevented"),
				Growth: c.String("growth"), Doubling: c.String("doubling"), Lead: c.String("lead"),
			}, today)
			if err != nil {
				return err
			}
			return d.show(c, doc)
		},
	}
}
