package cli

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"strings"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/paper"
	"leafturn/internal/report"
)

func printCommand(d *deps) *ucli.Command {
	out := []ucli.Flag{dateOption,
		&ucli.StringFlag{Name: "out", Aliases: []string{"o"}, Usage: "PDF `FILE` to write"},
		&ucli.StringFlag{Name: "paper", Usage: "`SIZE` of the paper: letter or a4 (default: letter for a farm in US units)"}}
	return &ucli.Command{
		Name: "print", Usage: "sheets of paper as PDF: the round to fill in, the week, the notice, the season, next year",
		Subcommands: []*ucli.Command{
			{
				Name: "round", Usage: "scouting sheets for a clipboard, in walking order, with boxes for the counts and the totals to stop at",
				UsageText: "leafturn print round --out round.pdf\nleafturn print round --minutes 60 --start 09:30 --out round.pdf --paper a4\nleafturn print round --compact --out round.pdf",
				Description: "Each line of the sheet is a line of the notes file that `leafturn count --file`\n" +
					"reads, so that typing it in is copying.",
				Flags: append(out[:len(out):len(out)], &ucli.StringFlag{Name: "minutes", Usage: "minutes for the round, walking included"},
					&ucli.StringFlag{Name: "start", Usage: "when the round starts, farm's clock: \"HH:MM\""},
					&ucli.BoolFlag{Name: "compact", Usage: "more beds on a sheet: how to count stands once for each pest, at the end"}),
				Action: func(c *ucli.Context) error {
					return d.print(c, func(ctx context.Context, a *app.App, day civil.Date, o paper.Options) ([]byte, error) {
						r, err := a.RoundSheets(ctx, day, c.String("minutes"), c.String("start"))
						if err != nil {
							return nil, err
						}
						o.Compact = c.Bool("compact")
						var b bytes.Buffer
						n, err := paper.Sheets(&b, r, o)
						if n > manySheets {
							hint := fmt.Sprintf("%d sheets; for fewer give the time that there is with --minutes: the most pressing beds come first", n)
							if !o.Compact {
								hint += "; --compact has more beds on a sheet"
							}
							d.warn([]string{hint})
						}
						return b.Bytes(), err
					})
				},
			},
			d.printed("week", "the week's list with boxes to tick off", paper.Options{}, out, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Week(ctx, day)
			}),
			d.printed("notice", "the re-entry notice, in type to be read from some steps away", paper.Options{Large: true, Loud: "closed"}, out, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Board(ctx, day, "")
			}),
			d.printed("season", "the season of a year: seen, decided, done, and whether it worked, with pictures", paper.Options{}, out,
				func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
					if day.After(a.Today()) {
						return nil, diag.Usagef("name a day of the season to look back on", "--date %s has not come yet", day)
					}
					return a.Review(ctx, "", day, true)
				}),
			d.printed("next-year", "next year's plan: covers, their map, seed and work, and companion plants", paper.Options{Fine: app.NextYearFine}, out,
				func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
					return a.NextYear(ctx, day, app.CoverOptions{Rest: "0"})
				}),
		},
	}
}

// manySheets are more than one takes along on a clipboard.
const manySheets = 12

func reviewCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "review", Usage: "look back on a season: seen, decided, done, whether it worked, and the records",
		UsageText:   "leafturn review\nleafturn review --year 2025\nleafturn review --html season.html",
		Description: "For the grower, the landlord or an inspector. The verdicts are those of each week's\nscouting day, made from what was known then. With pictures on paper: `leafturn print season`.",
		Flags:       outputFlags(&ucli.StringFlag{Name: "year", Usage: "the season of `YEAR`, in the south that of 2026/27 or 2026; else this one"}, htmlOption),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			page := c.String("html")
			if page != "" && c.Bool("json") {
				return diag.Usagef("run the command twice", "--html goes without --json")
			}
			return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
				doc, err := a.Review(ctx, c.String("year"), a.Today(), page != "")
				switch {
				case err != nil:
					return err
				case page != "":
					return d.page(ctx, page, doc)
				}
				return d.show(c, doc)
			})
		},
	}
}

// printed is a command that prints a document.
func (d *deps) printed(name, usage string, as paper.Options, flags []ucli.Flag, make func(context.Context, *app.App, civil.Date) (*report.Document, error)) *ucli.Command {
	return &ucli.Command{
		Name: name, Usage: usage, UsageText: "leafturn print " + name + " --out " + name + ".pdf", Flags: flags,
		Action: func(c *ucli.Context) error {
			return d.print(c, func(ctx context.Context, a *app.App, day civil.Date, o paper.Options) ([]byte, error) {
				doc, err := make(ctx, a, day)
				if err != nil {
					return nil, err
				}
				if err := a.CorrectedSince(ctx, doc); err != nil {
					return nil, err
				}
				o.Large, o.Loud, o.Fine = as.Large, as.Loud, as.Fine
				var b bytes.Buffer
				err = paper.Document(&b, *doc, o)
				return b.Bytes(), err
			})
		},
	}
}

// print writes what make draws to the file of --out.
func (d *deps) print(c *ucli.Context, make func(context.Context, *app.App, civil.Date, paper.Options) ([]byte, error)) error {
	if _, err := words(c, 0, 0, ""); err != nil {
		return err
	}
	file := c.String("out")
	switch {
	case file == "":
		return diag.Usagef("give it with --out, such as --out "+c.Command.Name+".pdf", "no file to print into")
	case file != "-" && !strings.EqualFold(filepath.Ext(file), ".pdf"):
		return diag.Usagef("end it with .pdf", "--out %q is not the name of a PDF file", file)
	}
	var o paper.Options
	if s := c.String("paper"); s != "" {
		size, ok := paper.ParseSize(s)
		if !ok {
			return diag.Usagef("write letter or a4", "--paper %q is not a size that is known", s)
		}
		o.Size = size
	}
	return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
		if o.Size == "" {
			o.Size = a.PaperSize()
		}
		raw, err := make(ctx, a, day, o)
		if err != nil {
			return err
		}
		return d.give(file, raw, "printed: "+file)
	})
}
