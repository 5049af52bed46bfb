package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func companionsCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "companions", Usage: "companion plants for this farm's pests, with the evidence",
		UsageText: "leafturn companions\nleafturn companions slug aphid",
		ArgsUsage: "[PEST...]",
		Flags:     outputFlags(dateOption),
		Action: func(c *ucli.Context) error {
			return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
				return a.Companions(ctx, day, c.Args().Slice())
			})
		},
	}
}
