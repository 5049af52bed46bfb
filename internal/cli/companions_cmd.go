package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
)

func companionsCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "companions", Usage: "companion plants: the evidence, where, how many, when to sow, what to avoid",
		UsageText: "leafturn companions\nleafturn companions slug aphid\nleafturn companions --only alyssum,buckwheat --draw bloom.svg\nleafturn companions --without fennel --year 2027 --ics sowing.ics",
		ArgsUsage: "[PEST...]",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "year", Usage: "plan the season of `YEAR`, in the south also 2026/27; else the coming one"},
			&ucli.StringFlag{Name: "only", Usage: "plan only these `PLANTS`, separated by commas, such as alyssum,dill"},
			&ucli.StringFlag{Name: "without", Usage: "leave these `PLANTS` out"},
			&ucli.StringFlag{Name: "margin", Usage: "`LENGTH` of free ground round the beds, such as \"12 m\"; else 1.5 m is taken"},
			&ucli.StringFlag{Name: "draw", Usage: "also draw the bloom calendar to `FILE`: .svg, .png or .pdf"},
			&ucli.StringFlag{Name: "ics", Usage: "also write the sowing list as a calendar to `FILE` (RFC 5545), one of its own; - is standard output"},
		),
		Action: func(c *ucli.Context) error {
			o := app.CompanionOptions{Pests: c.Args().Slice(), Year: c.String("year"), Only: c.String("only"), Without: c.String("without"), Margin: c.String("margin"), Draw: c.String("draw")}
			file := c.String("ics")
			if err := twoFiles("draw", o.Draw, file); err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				if file == "" {
					doc, said, err := a.Companions(ctx, day, o)
					if err != nil {
						return err
					}
					d.warn(said)
					return d.show(c, doc)
				}
				doc, said, warning, err := a.CompanionCalendar(ctx, day, o, d.stageCalendar(file))
				if err != nil {
					return err
				}
				d.warn(said)
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
