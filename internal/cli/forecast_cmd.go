package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/report"
)

func forecastCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "forecast", Usage: "what could come of a pest, for nothing done and for each thing that is open now",
		UsageText: "leafturn forecast mite\nleafturn forecast mite D5 --days 14\nleafturn forecast slug B3\nleafturn forecast mite D5 --draw fan.png\nleafturn forecast --past",
		ArgsUsage: "PEST [BED] | --past [PEST]",
		Description: "A density is told for two weeks from the last count at the most, of pests whose growth\n" +
			"a published rate supports; of the others the nights and days that suit them. With a BED\n" +
			"it is compared with what is open under the labels and the calendar. --past makes the\n" +
			"season's forecasts again and holds them against the counts that came.",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "days", Usage: "how many `DAYS` ahead (else 7, or 14 with a BED); beyond 14 only stages are told"},
			&ucli.StringFlag{Name: "seed", Usage: "the `SEED` of the simulated paths (else 1); the same seed gives the same numbers"},
			&ucli.BoolFlag{Name: "past", Usage: "how past forecasts did here"},
			&ucli.StringFlag{Name: "draw", Usage: "also draw the BED's forecast to `FILE`: .png, .svg or .pdf"},
			fillOption),
		Action: func(c *ucli.Context) error {
			past := c.Bool("past")
			least, most, want := 1, 2, "PEST [BED]"
			if past {
				least, most, want = 0, 1, "at most one PEST with --past"
			}
			w, err := words(c, least, most, want)
			if err != nil {
				return err
			}
			if past && c.String("days") != "" {
				return diag.Usagef("leave it out", "--days does not go with --past: each forecast reaches to the next count")
			}
			draw := c.String("draw")
			if draw != "" && len(w) < 2 {
				return diag.Usagef("name the bed too, such as `leafturn forecast mite D5 --draw fan.png`", "--draw draws the forecast of one bed")
			}
			w = append(w, "", "")
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Forecast(ctx, app.ForecastOptions{Pest: w[0], Bed: w[1], Days: c.String("days"), Seed: c.String("seed"), Fill: c.Bool("fill"), Past: past, Draw: draw}, day)
			})
		},
	}
}
