package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

func exportCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "export", Usage: "write everything to a folder of CSV tables, or a workbook, or a map of the beds",
		UsageText: "leafturn export farm-2026-07-20\n" +
			"leafturn export farm.xlsx\n" +
			"leafturn export beds.geojson --pest mite --origin \"45.1, -122.9\" --bearing 12",
		ArgsUsage: "FOLDER | FILE.xlsx | FILE.geojson",
		Description: `FOLDER gets every table of the farm's file as CSV, records that were taken out and
the journal too, with datapackage.json, which describes every column (Frictionless
Table Schema). ` + "`leafturn restore FOLDER`" + ` makes a farm's file of it again, with
nothing changed. The folder must be new or empty; it appears whole or not at all.

FILE.xlsx    a sheet for beds, visits, counts, treatments, releases, steps, weather
             and labels, without what was taken out.
FILE.geojson the beds as areas on the earth. --origin is the south-west corner of
             the field, else where the farm lies (` + "`leafturn farm set --at`" + `).
A text that a spreadsheet might run gets an apostrophe in front in CSV.`,
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "pest", Usage: "map: add each bed's verdict on `PEST` and the chance of being over its action level"},
			&ucli.StringFlag{Name: "origin", Usage: "map: latitude and longitude in degrees of the field's south-west corner, such as \"45.1, -122.9\""},
			&ucli.StringFlag{Name: "bearing", Usage: "map: where the field's own north points, in `DEGREES` clockwise from true north (else 0)"},
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, 1, "FOLDER | FILE.xlsx | FILE.geojson")
			if err != nil {
				return err
			}
			if c.IsSet("date") && c.String("pest") == "" {
				return diag.Usagef("name the pest, or leave the date out: all records are written, whatever their day", "--date is the day of --pest")
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				tell, stop := fileBar(d, "writing")
				defer stop()
				doc, said, err := a.Export(ctx, app.ExportOptions{
					Out: w[0], Program: version(), Date: day, Pest: c.String("pest"), Origin: c.String("origin"), Bearing: c.String("bearing"), Progress: tell,
				})
				stop()
				if err != nil {
					return err
				}
				return d.sayOr(c, doc, said)
			})
		},
	}
}

func restoreCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "restore", Usage: "put a checked backup, or an exported folder, in the place of the farm's file, which is kept",
		UsageText: "leafturn restore farm-2026-07-20.leafturn\nleafturn restore farm-2026-07-20 --check", ArgsUsage: "FILE | FOLDER",
		Description: `A folder of tables is read whole: every file, heading, value and reference is
checked, and all that is wrong is told with its place. Nothing is changed unless all
is right. A file that is not as it was exported is refused; where it was corrected by
hand, --changed takes it, and the sums of visits are made anew from their counts.`,
		Flags: outputFlags(
			&ucli.BoolFlag{Name: "check", Usage: "of a folder: read and check, change nothing"},
			&ucli.BoolFlag{Name: "changed", Usage: "of a folder: take files that were corrected by hand"},
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, 1, "FILE | FOLDER")
			if err != nil {
				return err
			}
			path, err := d.path()
			if err != nil {
				return err
			}
			now, err := d.now()
			if err != nil {
				return err
			}
			tell, stop := fileBar(d, "reading")
			defer stop()
			doc, said, err := app.Restore(c.Context, path, app.RestoreOptions{From: w[0], Check: c.Bool("check"), Changed: c.Bool("changed"), Progress: tell}, now)
			stop()
			if err != nil {
				return err
			}
			return d.sayOr(c, doc, said)
		},
	}
}
