package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

var fillOption = &ucli.BoolFlag{Name: "fill", Usage: "fill gaps of up to 3 days in a straight line; nothing is stored"}

func degreeDaysCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "degree-days", Usage: "add up degree-days, and when a sum is or will be reached",
		UsageText: "leafturn degree-days thrips\nleafturn degree-days --base 10C --upper 30C --method double-sine --start 2026-03-01 --reach 100,500\n" +
			"leafturn degree-days mite --to 2026-09-01 --from 2026-07-01 --fill\n" +
			"leafturn degree-days --draw warmth.png mite",
		ArgsUsage: "[PEST]",
		Description: "Of a PEST or a natural enemy the catalogue's base, method and start are taken; flags\n" +
			"go before them. Days to come are forecasts where there are some, and usual days after.",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "base", Usage: "the `TEMPERATURE` below which nothing develops, such as 10C or 50F"},
			&ucli.StringFlag{Name: "upper", Usage: "the `TEMPERATURE` above which the cutoff applies, or none"},
			&ucli.StringFlag{Name: "method", Usage: "`METHOD`: single-sine, double-sine, single-triangle, double-triangle, average, average-of-clipped-ends"},
			&ucli.StringFlag{Name: "cutoff", Usage: "`CUTOFF` above --upper: horizontal, intermediate or vertical"},
			&ucli.StringFlag{Name: "start", Usage: "the `DAY` on which the sum starts (else the pest's own, else 1 January, in the south 1 July)"},
			&ucli.StringFlag{Name: "from", Usage: "show each day from this `DAY` on"},
			&ucli.StringFlag{Name: "to", Usage: "the last `DAY`, at most a year ahead (else today)"},
			&ucli.StringFlag{Name: "reach", Usage: "when these `SUMS` are reached, such as 100,500, in the farm's own units"},
			&ucli.StringFlag{Name: "draw", Usage: "also draw the sum and the PEST's stages to `FILE`: .png, .svg or .pdf"},
			fillOption),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 1, "at most one PEST"); err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.DegreeDays(ctx, app.DegreeDaysOptions{
					Pest: c.Args().First(), Base: c.String("base"), Upper: c.String("upper"), Method: c.String("method"), Cutoff: c.String("cutoff"),
					From: c.String("from"), To: c.String("to"), Start: c.String("start"), Reach: c.String("reach"), Fill: c.Bool("fill"), Draw: c.String("draw"),
				}, day)
			})
		},
	}
}

func aheadCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "ahead", Usage: "when pests reach their stages, what to put out when, and which nights suit",
		UsageText: "leafturn ahead\nleafturn ahead slug --start 2026-03-02\nleafturn ahead slug --wind 2mph\nleafturn ahead phytoseiulus_persimilis --fill",
		ArgsUsage: "[PEST]",
		Description: "Without a PEST: the pests that the farm watches, and the natural enemies released\n" +
			"this season. Dates come with a range; days to come are forecasts or usual days.",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "start", Usage: "the `DAY` on which the clock starts, such as when eggs were seen"},
			&ucli.StringFlag{Name: "wind", Usage: "tonight's `WIND`, such as 3mph, 5km/h or 1.5m/s"},
			fillOption),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 1, "at most one PEST"); err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Ahead(ctx, app.AheadOptions{Pest: c.Args().First(), Start: c.String("start"), Wind: c.String("wind"), Fill: c.Bool("fill")}, day)
			})
		},
	}
}
