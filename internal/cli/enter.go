package cli

import (
	"bytes"
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
)

func countCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "count", Usage: "enter counts: one line for one bed and pest, or a file of such lines",
		UsageText: "leafturn count B3 slug 4 0 2 7 1\n" +
			"leafturn count B3 mite 12/50 +predatory_mite=2\n" +
			"leafturn count --date 2026-07-20 B3 earwig 3 0 - 9 damage=4/50 air=14C\n" +
			"leafturn count --file notes.txt",
		ArgsUsage: "BED PEST COUNTS... | --file FILE",
		Description: `COUNTS  one number for each trap, leaf or board, a zero where nothing was
        found; - where a unit was not looked at; 70*0 for seventy zeros;
        12/50 for 12 infested of 50 looked at
then    unit=WORD  nights=N  air=14C  soilc=9C  soil=dry|moist|wet
        foliage=dry|wet  damage=4/50  +ENEMY=COUNT  hotspot  edge
        disturbed  by=NAME  # note to the end of the line

A notes file holds such lines; a line "date 2026-07-20" sets the day and a line
"by NAME" the observer for the lines below it. All lines are stored, or none.`,
		Flags: outputFlags(
			&ucli.StringFlag{Name: "file", Aliases: []string{"f"}, Usage: "read lines from `FILE`; - is standard input"},
			&ucli.StringFlag{Name: "by", Usage: "who counted"},
			&ucli.BoolFlag{Name: "check", Usage: "read and check, store nothing"},
			dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			file := c.String("file")
			if (file == "") == !c.Args().Present() {
				return diag.Usagef("type `leafturn count BED PEST COUNTS...`, or `leafturn count --file notes.txt`",
					"give either one line of counts or --file, not both and not neither")
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				o := app.CountOptions{Date: day, Observer: c.String("by"), Check: c.Bool("check")}
				if file == "" {
					said, err := a.CountWords(ctx, c.Args().Slice(), o)
					if err != nil {
						return err
					}
					return d.wrote(c, said, nil)
				}
				return d.readFile(file, func(r *bytes.Reader, name string) error {
					said, err := a.CountFile(ctx, r, name, o)
					if err != nil {
						return err
					}
					return d.wrote(c, said, nil)
				})
			})
		},
	}
}

func treatCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "treat", Usage: "record an application of a labelled product",
		UsageText: `leafturn treat ironbait A2 A4 --pest slug --amount "120 g" --end "2026-05-26 20:30" --who MT`,
		ArgsUsage: "LABEL BED...",
		Description: "What happened is always stored, even where it broke the label; the breach is\n" +
			"said plainly, with what to do next. --amount is for each bed.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "pest", Usage: "the `PEST` it was meant for"},
			&ucli.StringFlag{Name: "amount", Usage: "product used on each bed, such as \"120 g\" or \"4 oz wt\""},
			&ucli.StringFlag{Name: "end", Usage: "when it ended, farm's clock: \"YYYY-MM-DD HH:MM\" (re-entry is counted from it)"},
			&ucli.StringFlag{Name: "start", Usage: "when it began"},
			&ucli.StringFlag{Name: "part", Usage: "the part of the bed, when not the whole"},
			&ucli.StringFlag{Name: "area", Usage: "the area treated on each bed, when not the whole, such as \"12 m2\""},
			&ucli.StringFlag{Name: "who", Usage: "who applied it"},
			&ucli.StringFlag{Name: "licence", Usage: "the applicator's licence or certificate number"},
			&ucli.StringFlag{Name: "lot", Usage: "the container's lot"},
			&ucli.StringFlag{Name: "method", Usage: "how it was put on, such as \"scattered by hand\""},
			&ucli.StringFlag{Name: "spray", Usage: "water with the product in it, on each bed (\"20 L\", \"5 US gal\") or per area (\"400 L/ha\")"},
			&ucli.StringFlag{Name: "wind", Usage: "wind at the application, such as \"3 m/s\" or \"6 mph\"; not given is not calm"},
			&ucli.StringFlag{Name: "temp", Usage: "air temperature at the application, such as 14C or 57F"},
			&ucli.StringFlag{Name: "sky", Usage: "other conditions, in words"},
			&ucli.StringFlag{Name: "because", Usage: "number of the `VISIT` that led to it (else the count that decides, of the 14 days before)"},
			&ucli.StringFlag{Name: "reason", Usage: "why"},
			&ucli.StringFlag{Name: "note", Usage: "a remark"},
			dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, -1, "LABEL BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				res, err := a.Treat(ctx, app.TreatOptions{
					Label: w[0], Beds: w[1:], Date: day, DateGiven: c.IsSet("date"), Pest: c.String("pest"), Amount: c.String("amount"),
					Start: c.String("start"), End: c.String("end"), Part: c.String("part"), Area: c.String("area"),
					Who: c.String("who"), Reason: c.String("reason"), Note: c.String("note"),
					TreatMore: app.TreatMore{
						Method: c.String("method"), Spray: c.String("spray"), Wind: c.String("wind"), Temp: c.String("temp"), Sky: c.String("sky"),
						Because: c.String("because"), Lot: c.String("lot"), Licence: c.String("licence"),
					},
				})
				if err != nil {
					return err
				}
				return d.wrote(c, res.Said, res.Warnings)
			})
		},
	}
}

func releaseCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "release", Usage: "record a release of natural enemies",
		UsageText: "leafturn release phytoseiulus_persimilis D4 D5 --amount 200 --date 2026-07-24",
		ArgsUsage: "AGENT BED...",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "amount", Usage: "animals (or sachets) let out in each bed"},
			&ucli.StringFlag{Name: "pest", Usage: "the `PEST`, when the agent has more than one"},
			&ucli.StringFlag{Name: "by", Usage: "who let them out"},
			&ucli.StringFlag{Name: "part", Usage: "the part of the bed, when not the whole"},
			&ucli.StringFlag{Name: "at", Usage: "the time of day, farm's clock: \"HH:MM\""},
			&ucli.StringFlag{Name: "because", Usage: "number of the `VISIT` that led to it (else the count that decides, of the 14 days before)"},
			&ucli.StringFlag{Name: "note", Usage: "a remark"},
			dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, -1, "AGENT BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				res, err := a.Release(ctx, app.ReleaseOptions{Agent: w[0], Beds: w[1:], Date: day, Pest: c.String("pest"), Amount: c.String("amount"), Note: c.String("note"),
					ReleaseMore: app.ReleaseMore{Who: c.String("by"), Part: c.String("part"), At: c.String("at"), Because: c.String("because")}})
				if err != nil {
					return err
				}
				return d.wrote(c, res.Said, res.Warnings)
			})
		},
	}
}

func settledCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "settled", Usage: "record whether natural enemies that were let out have settled",
		UsageText: "leafturn settled phytoseiulus_persimilis D4 D5 --count 7/20\nleafturn settled orius_insidiosus D4 --not-found --date yesterday",
		ArgsUsage: "AGENT BED...",
		Description: "Answers the looks that the list asks for after a release. The answer decides what\n" +
			"the list says next: hold, look again, once more, or stop and why.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "count", Usage: "seen on `WITH/LOOKED` of what was looked at, such as 7/20"},
			&ucli.BoolFlag{Name: "found", Usage: "seen, and not counted"},
			&ucli.BoolFlag{Name: "not-found", Usage: "not seen"},
			&ucli.StringFlag{Name: "pest", Usage: "the `PEST`, when the agent was let out against more than one"},
			&ucli.StringFlag{Name: "by", Usage: "who looked"},
			&ucli.StringFlag{Name: "note", Usage: "a remark"}, dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, -1, "AGENT BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				res, err := a.Settled(ctx, app.SettledOptions{Agent: w[0], Beds: w[1:], Pest: c.String("pest"), Date: day,
					Found: c.Bool("found"), NotFound: c.Bool("not-found"), Count: c.String("count"), Who: c.String("by"), Note: c.String("note")})
				if err != nil {
					return err
				}
				return d.wrote(c, res.Said, nil)
			})
		},
	}
}

func didCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "did", Usage: "record a step of the week's list as done",
		UsageText: "leafturn did mite water_jet D4 D5\nleafturn did slug hand_pick A2 --date yesterday\nleafturn did caterpillar confirmed B3",
		ArgsUsage: "PEST STEP BED...",
		Description: "--enough and --not-enough note what came of it; on an organic farm a product comes\n" +
			"only after steps that were noted as not enough (7 CFR 205.206).\n\n" +
			"Where a level asks to confirm what did the damage, write confirmed or not-confirmed for\nthe step. Confirmed holds for the season; not-confirmed for the counts up to 3 days after.\n\n" +
			"Bt needs to know the larvae: small_larvae (of moths, under 1 cm), large_larvae or\nsawfly_larvae for the step holds for that day and the 3 after.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "by", Usage: "who did it"},
			&ucli.BoolFlag{Name: "enough", Usage: "it was enough"},
			&ucli.BoolFlag{Name: "not-enough", Usage: "it was not enough"},
			&ucli.StringFlag{Name: "note", Usage: "a remark"}, dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 3, -1, "PEST STEP BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				more := farm.DoneMore{Who: c.String("by")}
				switch enough, not := c.Bool("enough"), c.Bool("not-enough"); {
				case enough && not:
					return diag.Usagef("give one of them, or neither", "--enough and --not-enough cannot both be")
				case enough:
					more.Outcome = farm.Enough
				case not:
					more.Outcome = farm.NotEnough
				}
				said, err := a.Did(ctx, day, w[0], w[1], w[2:], c.String("note"), more)
				if err != nil {
					return err
				}
				return d.wrote(c, said, nil)
			})
		},
	}
}

func flowersCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "flowers", Usage: "note whether anything is in flower in or beside beds, for bee statements",
		UsageText: "leafturn flowers none B3 B4\nleafturn flowers open C1",
		ArgsUsage: "none|open BED...",
		Description: "Counts the crop, weeds, covers and flowering strips. A product with a bee\n" +
			"statement is refused until this has been noted for the day.",
		Flags: outputFlags(dateOption, oldOption),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, -1, "none|open BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				said, err := a.Flowers(ctx, day, w[0], w[1:])
				if err != nil {
					return err
				}
				return d.wrote(c, said, nil)
			})
		},
	}
}

func stageCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "stage", Usage: "record the growth stage that beds have reached",
		UsageText: "leafturn stage budding A1 A2 A3 --date 2026-07-10\nleafturn stage --file stages.csv",
		ArgsUsage: "STAGE BED... | --file FILE",
		Description: "Stages: planted, emerged, pinched, budding, bloom, dug (principal BBCH stages 0,\n" +
			"1, 2, 5, 6 and 9). Action levels and steps depend on them. A file has the\ncolumns date, bed and stage.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "file", Aliases: []string{"f"}, Usage: "read date, bed and stage from a CSV `FILE`"},
			&ucli.StringFlag{Name: "note", Usage: "a remark"},
			dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			file := c.String("file")
			if file != "" {
				return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
					return d.readFile(file, func(r *bytes.Reader, name string) error {
						said, err := a.StageFile(ctx, r, name)
						if err != nil {
							return err
						}
						return d.wrote(c, said, nil)
					})
				})
			}
			w, err := words(c, 2, -1, "STAGE BED...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				said, err := a.Stage(ctx, day, w[0], w[1:], c.String("note"))
				if err != nil {
					return err
				}
				return d.wrote(c, said, nil)
			})
		},
	}
}

func weatherCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "weather", Usage: "record the day's weather, or read a file of days",
		UsageText: "leafturn weather --min 9C --max 22C --rain 3mm\nleafturn weather --file weather.csv",
		Description: "A file has a header such as date,min_c,max_c,rain_mm,soil_c (or min_f, max_f,\n" +
			"rain_in); a blank cell is a day that was not measured, never a zero. A station's\n" +
			"GHCN-Daily file (.dly or CSV) is read as it is.",
		Flags: outputFlags(
			&ucli.StringFlag{Name: "file", Aliases: []string{"f"}, Usage: "read days from a CSV `FILE`"},
			&ucli.StringFlag{Name: "station", Usage: "with a GHCN-Daily file: the station `ID` that it must be of"},
			&ucli.StringFlag{Name: "from", Usage: "with a GHCN-Daily file: the first `DATE` wanted"},
			&ucli.StringFlag{Name: "to", Usage: "with a GHCN-Daily file: the last `DATE` wanted"},
			&ucli.BoolFlag{Name: "tenths", Usage: "with a GHCN-Daily file: its values are known to be tenths"},
			&ucli.StringFlag{Name: "normals", Usage: "read the usual minimum and maximum of the twelve months from a CSV `FILE` (month,min_c,max_c), for the days to come; none takes them away"},
			&ucli.StringFlag{Name: "min", Usage: "lowest air temperature, such as 9C or 48F"},
			&ucli.StringFlag{Name: "max", Usage: "highest air temperature"},
			&ucli.StringFlag{Name: "rain", Usage: "rain, such as 3mm or 0.1in"},
			&ucli.StringFlag{Name: "soil", Usage: "soil temperature at 10 cm"},
			&ucli.StringFlag{Name: "humidity", Usage: "relative humidity in percent"},
			&ucli.BoolFlag{Name: "forecast", Usage: "it is a forecast for a day to come"},
			dateOption, oldOption,
		),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			a, err := d.open(c.Context)
			if err != nil {
				return err
			}
			if c.Bool("old") {
				a.AllowOld()
			}
			if c.IsSet("normals") {
				if n := c.NumFlags(); n > 2 || n == 2 && !c.Bool("json") {
					return diag.Usagef("give it alone", "--normals goes with no other flag")
				}
				return d.normals(c, a)
			}
			if file := c.String("file"); file != "" {
				return d.readFile(file, func(r *bytes.Reader, name string) error {
					said, err := a.WeatherFile(c.Context, r, name, app.WeatherFileOptions{Station: c.String("station"), From: c.String("from"), To: c.String("to")}, c.Bool("tenths"))
					if err != nil {
						return err
					}
					return d.wrote(c, said, nil)
				})
			}
			said, err := a.Weather(c.Context, app.WeatherOptions{
				Date: c.String("date"), Min: c.String("min"), Max: c.String("max"), Rain: c.String("rain"),
				Soil: c.String("soil"), Humidity: c.String("humidity"), Forecast: c.Bool("forecast"),
			})
			if err != nil {
				return err
			}
			return d.wrote(c, said, nil)
		},
	}
}

// normals stores the usual weather of the months, or takes it away.
func (d *deps) normals(c *ucli.Context, a *app.App) error {
	if c.String("normals") == "none" {
		said, err := a.ClearNormals(c.Context)
		if err != nil {
			return err
		}
		return d.wrote(c, said, nil)
	}
	return d.readFile(c.String("normals"), func(r *bytes.Reader, name string) error {
		said, err := a.WeatherNormals(c.Context, r, name)
		if err != nil {
			return err
		}
		return d.wrote(c, said, nil)
	})
}

func labelCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "label", Usage: "transcribe product labels; without one no product is offered",
		Subcommands: []*ucli.Command{
			{
				Name: "template", Usage: "write a commented file to fill in from the label, or a known label to change",
				UsageText: "leafturn label template > ironbait.toml", ArgsUsage: "[LABEL]",
				Action: func(c *ucli.Context) error {
					w, err := words(c, 0, 1, "at most one LABEL")
					if err != nil {
						return err
					}
					if len(w) == 0 {
						d.say("%s", app.LabelTemplate())
						return nil
					}
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						text, err := a.LabelText(ctx, w[0])
						if err != nil {
							return err
						}
						d.say("%s", text)
						return nil
					})
				},
			},
			{
				Name: "set", Usage: "set fields of a label by name, as a new version",
				UsageText: `leafturn label set ironbait rei="4 hours" phi="none stated" active.percent=1`, ArgsUsage: "LABEL FIELD=VALUE ...",
				Description: "The fields are those of `leafturn label template`, and active.name, active.percent,\nactive.g_per_l, active.group and active.max (active2.name and so on for a second one). A blank value is\nunknown again; \"none stated\" is an answer. A label that is not known yet is begun with\nproduct=\"...\".",
				Flags:       outputFlags(dateOption, &ucli.BoolFlag{Name: "check", Usage: "read and check, store nothing"}),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 2, -1, "LABEL FIELD=VALUE ...")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
						res, err := a.SetLabel(ctx, w[0], w[1:], day, c.Bool("check"))
						if err != nil {
							return err
						}
						return d.wrote(c, res.Said, res.Warnings)
					})
				},
			},
			{
				Name: "ask", Usage: "transcribe a label question by question",
				UsageText: "leafturn label ask ironbait", ArgsUsage: "LABEL", Flags: outputFlags(dateOption),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "LABEL")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
						res, err := a.AskLabel(ctx, w[0], day, d.In, d.Err) // questions are no result
						if err != nil {
							return err
						}
						return d.wrote(c, res.Said, res.Warnings)
					})
				},
			},
			{
				Name: "add", Usage: "check a filled file and store it, as a new version if the label is known",
				UsageText: "leafturn label add ironbait.toml", ArgsUsage: "FILE",
				Flags: outputFlags(dateOption, &ucli.BoolFlag{Name: "check", Usage: "read and check, store nothing"}),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "FILE")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
						return d.readFile(w[0], func(r *bytes.Reader, name string) error {
							res, err := a.AddLabel(ctx, r, name, day, c.Bool("check"))
							if err != nil {
								return err
							}
							return d.wrote(c, res.Said, res.Warnings)
						})
					})
				},
			},
			{
				Name: "retire", Usage: "say that a label is no longer used: nothing more is scheduled under it",
				UsageText: `leafturn label retire ironbait --because "used up"`, ArgsUsage: "LABEL",
				Description: "Its versions stay, and so does what was done under them. A new version from\n`label add` or `label set` brings it back.",
				Flags:       outputFlags(dateOption, &ucli.StringFlag{Name: "because", Usage: "why"}),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "LABEL")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
						res, err := a.RetireLabel(ctx, w[0], c.String("because"), day)
						if err != nil {
							return err
						}
						return d.wrote(c, res.Said, nil)
					})
				},
			},
			{
				Name: "list", Usage: "the labels entered, and what is still unknown of each",
				UsageText: "leafturn label list", Flags: outputFlags(dateOption),
				Action: func(c *ucli.Context) error {
					if _, err := words(c, 0, 0, ""); err != nil {
						return err
					}
					return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
						return a.Labels(ctx, day)
					})
				},
			},
			{
				Name: "show", Usage: "one label as it was transcribed", UsageText: "leafturn label show ironbait",
				ArgsUsage: "LABEL", Flags: outputFlags(dateOption, &ucli.StringFlag{Name: "version", Usage: "an older version by its number"}),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "LABEL")
					if err != nil {
						return err
					}
					return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
						return a.ShowLabel(ctx, day, w[0], c.String("version"))
					})
				},
			},
		},
	}
}

func voidCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "void", Usage: "take a wrong record out of every list; it stays in the history",
		UsageText: `leafturn void visit 12 --reason "counted the wrong bed"`,
		ArgsUsage: "KIND NUMBER",
		Description: "KIND is visit, treatment, release, done, stage, weather, override or cover. The\n" +
			"number stands where the entry was confirmed, in `leafturn history`, in `leafturn visits`\n" +
			"and in `leafturn records`.",
		Flags: outputFlags(&ucli.StringFlag{Name: "reason", Usage: "why (needed)"}),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, 2, "KIND NUMBER")
			if err != nil {
				return err
			}
			a, err := d.open(c.Context)
			if err != nil {
				return err
			}
			said, err := a.Void(c.Context, w[0], w[1], c.String("reason"))
			if err != nil {
				return err
			}
			return d.wrote(c, said, nil)
		},
	}
}
