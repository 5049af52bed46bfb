package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func recordsCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "records", Usage: "the record of applications, releases and steps, to print or as CSV",
		UsageText: "leafturn records\nleafturn records treatments --year 2026 --csv applications.csv\nleafturn records steps --bed B3",
		ArgsUsage: "[treatments|releases|steps]",
		Description: "Each stored record stands there once, voided ones with their reason. A deviation\n" +
			"from a label is shown with what to do next, also one that only a later record\n" +
			"brought to light. The CSV file holds one kind, treatments when none is named.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "bed", Usage: "of one `BED` only"},
			&ucli.StringFlag{Name: "year", Usage: "of one calendar `YEAR` only, or of a season of the south, such as 2026/27"},
			&ucli.StringFlag{Name: "csv", Usage: "write a table to `FILE` (RFC 4180) instead of the page; - is standard output"},
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 1, "[treatments|releases|steps]")
			if err != nil {
				return err
			}
			o := app.RecordOptions{Bed: c.String("bed"), Year: c.String("year")}
			if len(w) == 1 {
				o.Kind = w[0]
			}
			file := c.String("csv")
			if file == "" {
				return d.answer(c, func(ctx context.Context, a *app.App, _ civil.Date) (*report.Document, error) {
					return a.Records(ctx, o)
				})
			}
			return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
				doc, err := a.Records(ctx, o)
				if err != nil {
					return err
				}
				raw, err := app.RecordsCSV(doc, o.Kind)
				if err != nil {
					return err
				}
				return d.give(file, raw, "the records are written to "+file)
			})
		},
	}
}

func boardCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "board", Usage: "the re-entry board: what is closed until when, to print and post",
		UsageText: "leafturn board\nleafturn board --date 2026-07-21 --at 06:00",
		Description: "Stands for now, or for an hour of a day on the farm's clock. It says of each bed\n" +
			"whether it is closed, until when, from when flowers may be cut, and whether\nwarning signs must stand. It fits sheets of US letter and A4: more than a page\nof it comes in numbered pages with a form feed between.",
		Flags: outputFlags(dateOption, &ucli.StringFlag{Name: "at", Usage: "the time of day, farm's clock: \"HH:MM\""}),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				doc, err := a.Board(ctx, day, c.String("at"))
				if err != nil {
					return err
				}
				return d.showPages(c, doc)
			})
		},
	}
}
