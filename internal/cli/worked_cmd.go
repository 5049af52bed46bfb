package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func workedCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "worked", Usage: "whether the season's steps worked: counts before and after, against untreated beds",
		UsageText: "leafturn worked\nleafturn worked slug\nleafturn worked slug B3\nleafturn worked slug --draw worked.png",
		ArgsUsage: "[PEST [BED]]",
		Flags:     outputFlags(dateOption, &ucli.StringFlag{Name: "draw", Usage: "also draw the counts before and after to `FILE`: .png, .svg or .pdf"}),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 0, 2, "at most PEST BED")
			if err != nil {
				return err
			}
			w = append(w, "", "")
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Worked(ctx, day, w[0], w[1], c.String("draw"))
			})
		},
	}
}
