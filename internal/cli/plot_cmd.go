package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
)

func plotCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "plot", Usage: "draw the season: a pest in a bed or by bed, all pests, the field, the years",
		UsageText: "leafturn plot mite --bed D5 --out mites.svg\nleafturn plot slug --out slugs.png\nleafturn plot --out season.png\nleafturn plot mite --map --out field.svg\nleafturn plot mite --years --out years.png",
		ArgsUsage: "[PEST]",
		Description: "With a pest and one bed: every unit counted, what is believed from visit to visit,\n" +
			"the action level by stage, what was done, the weather, and what to do next. With a\n" +
			"pest: its pressure over the season by bed. Without: all pests and beds in small\n" +
			"multiples, the most pressing first. With --map: the beds in place, shaded by the\n" +
			"chance of being over the action level, with hot spots. With --years: the season by\n" +
			"week against earlier years. Several pages are numbered: season-1.png, season-2.png.",
		Flags: []ucli.Flag{
			&ucli.StringFlag{Name: "out", Aliases: []string{"o"}, Usage: "`FILE` to write: .png, .svg or .pdf"},
			&ucli.StringSliceFlag{Name: "bed", Usage: "only this bed (may be given again)"},
			&ucli.BoolFlag{Name: "years", Usage: "this season of a pest against earlier years, by week"},
			&ucli.BoolFlag{Name: "map", Usage: "the field map of a pest on the day"},
			dateOption,
		},
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 1, "[PEST]")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				o := app.PlotOptions{Date: day, Out: c.String("out"), Beds: c.StringSlice("bed"), Map: c.Bool("map"), Years: c.Bool("years")}
				if len(w) == 1 {
					o.Pest = w[0]
				}
				said, err := a.Plot(ctx, o)
				if err != nil {
					return err
				}
				for _, s := range said {
					d.say("%s", s)
				}
				return nil
			})
		},
	}
}
