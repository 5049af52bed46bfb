package cli

import (
	"bytes"
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/ingest"
)

func coversCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "covers", Usage: "next year's cover crops: per pest, or the best plan by bed under your rules",
		UsageText: "leafturn covers\nleafturn covers --pest wireworm\nleafturn covers --rest 1 --rule 'budget 120' --rule 'pin A1 oats'\nleafturn covers --rules rules.txt --keep",
		Description: "The plan is the best under your rules, with its proof: no other plan has more points.\n" +
			"Rules are written one on a line in a file, or given one by one:\n\n" + ingest.CoverRulesHelp(),
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "pest", Usage: "rank the covers against one `PEST` instead"},
			&ucli.StringFlag{Name: "rest", Usage: "at most `N` beds rested for a season", Value: "0"},
			&ucli.StringFlag{Name: "dig", Usage: "the `DAY` by which beds are dug (default: 8 days after the first frost)"},
			&ucli.StringFlag{Name: "plant", Usage: "the `DAY` on which beds are planted (default: 20 days after the last frost)"},
			&ucli.StringFlag{Name: "rules", Usage: "`FILE` of your own rules, one on a line"},
			&ucli.StringSliceFlag{Name: "rule", Usage: "one `RULE` in words (may be given again)"},
			&ucli.BoolFlag{Name: "keep", Usage: "store the plan"},
			&ucli.StringFlag{Name: "ics", Usage: "also write the work as a calendar to `FILE` (RFC 5545), one of its own beside the week's; - is standard output"},
			&ucli.StringFlag{Name: "map", Usage: "also draw what is sown where to `FILE`: .png, .svg or .pdf; numbered when beds rest"},
			&ucli.StringFlag{Name: "window", Usage: "draw the map of one `WINDOW` alone: winter or rest"},
		),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				o := app.CoverOptions{
					Pest: c.String("pest"), Rest: c.String("rest"), Dig: c.String("dig"), Plant: c.String("plant"), Keep: c.Bool("keep"), Rule: c.StringSlice("rule"),
				}
				file := c.String("ics")
				if err := twoFiles("map", c.String("map"), file); err != nil {
					return err
				}
				o.Files = &app.CoverFiles{Map: c.String("map"), Window: c.String("window")}
				if file != "" {
					o.Files.Calendar = d.stageCalendar(file)
				}
				plan := func() error {
					doc, err := a.Covers(ctx, day, o)
					if err != nil {
						return err
					}
					if o.Files.Warning != "" {
						d.warn([]string{o.Files.Warning})
					}
					if file == "-" {
						return nil
					}
					return d.show(c, doc)
				}
				if !c.IsSet("rules") {
					return plan()
				}
				return d.readFile(c.String("rules"), func(r *bytes.Reader, name string) error {
					o.Rules, o.RulesFile = r, name
					return plan()
				})
			})
		},
	}
}
