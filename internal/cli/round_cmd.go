package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func roundCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "round", Usage: "the scouting round: the beds in walking order, within the time there is",
		UsageText: "leafturn round\nleafturn round --minutes 60 --start 09:30",
		Flags: outputFlags(dateOption, &ucli.StringFlag{Name: "minutes", Usage: "minutes for the round, walking included"},
			&ucli.StringFlag{Name: "start", Usage: "when the round starts, farm's clock: \"HH:MM\""}),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Round(ctx, day, c.String("minutes"), c.String("start"))
			})
		},
	}
}
