package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
)

func plotCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "plot", Usage: "draw the season: a pest by bed, all pests, or the field",
		UsageText: "leafturn plot mite --bed D5 --out mites.svg\nleafturn plot slug --out slugs.png\nleafturn plot --out season.png\nleafturn plot mite --map --out field.svg",
		ArgsUsage: "[PEST]",
		Description: "With a pest: its pressure over the season by bed, with the 95 % interval, the\n" +
			"action level, treatments, releases and growth stages. Without: all pests and beds\n" +
			"in small multiples. With --map: the beds in place, shaded by the chance of being\nover the action level.",
		Flags: []ucli.Flag{
			&ucli.StringFlag{Name: "out", Aliases: []string{"o"}, Usage: "`FILE` to write: .png, .svg or .pdf"},
			&ucli.StringSliceFlag{Name: "bed", Usage: "only this bed (may be given again)"},
			&ucli.BoolFlag{Name: "map", Usage: "the field map of a pest on the day"},
			dateOption,
		},
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 1, "[PEST]")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				o := app.PlotOptions{Date: day, Out: c.String("out"), Beds: c.StringSlice("bed"), Map: c.Bool("map")}
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
