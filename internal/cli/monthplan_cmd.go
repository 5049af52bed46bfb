package cli

import (
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func monthPlanCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "plan", Usage: "the work of the coming four weeks, day by day and hour by hour",
		UsageText: "leafturn plan\nleafturn plan --days \"Mon-Sat 07:00-12:00,18:00-21:00\" --harvest \"Mon,Thu\"\nleafturn plan B3 --weeks 2 --water \"Tue,Sat\"\nleafturn plan --ics plan.ics",
		ArgsUsage: "[BED...]",
		Flags: outputFlags(dateOption,
			&ucli.StringFlag{Name: "weeks", Usage: "plan `N` weeks, 1 to 8", Value: "4"},
			&ucli.StringFlag{Name: "days", Usage: "your working `HOURS`, such as \"Mon-Sat 07:00-12:00,18:00-21:00; Sun 08:00-10:00\""},
			&ucli.StringFlag{Name: "water", Usage: "the `DAYS` on which you water, such as \"Tue,Sat\""},
			&ucli.StringFlag{Name: "ics", Usage: "also write the jobs as a calendar to `FILE` (RFC 5545), one of its own beside the week's; - is standard output"},
			&ucli.StringFlag{Name: "harvest", Usage: "the `DAYS` on which you cut, such as \"Mon,Thu\""},
		),
		Action: func(c *ucli.Context) error {
			o := app.MonthOptions{Weeks: c.String("weeks"), Days: c.String("days"), Harvest: c.String("harvest"), Water: c.String("water"), Beds: c.Args().Slice()}
			file := c.String("ics")
			if file == "" {
				return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
					return a.MonthPlan(ctx, day, o)
				})
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				doc, warning, err := a.PlanCalendar(ctx, day, o, d.stageCalendar(file))
				if err != nil {
					return err
				}
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
