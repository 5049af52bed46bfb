package cli

import (
	"bytes"
	"context"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func farmFlags() []ucli.Flag {
	return []ucli.Flag{
		&ucli.StringFlag{Name: "name", Usage: "the farm's name"},
		&ucli.StringFlag{Name: "place", Usage: "where it is, in words"},
		&ucli.StringFlag{Name: "country", Usage: "two letters, such as US, GB, DE"},
		&ucli.StringFlag{Name: "zone", Usage: "time zone, such as America/Los_Angeles"},
		&ucli.StringFlag{Name: "hardiness", Usage: "USDA hardiness zone, such as 8a"},
		&ucli.StringFlag{Name: "last-frost", Usage: "average last spring frost, MM-DD"},
		&ucli.StringFlag{Name: "first-frost", Usage: "average first autumn frost, MM-DD"},
		&ucli.StringFlag{Name: "units", Usage: "metric or us, for amounts in lists"},
		&ucli.StringFlag{Name: "organic", Usage: "yes or no: run under an organic standard"},
		&ucli.StringFlag{Name: "pests", Usage: "the pests that the farm watches, separated by commas"},
		&ucli.StringFlag{Name: "area", Usage: "what is known of the area, separated by commas: potato_leafhopper or no_potato_leafhopper, japanese_beetle_established or japanese_beetle_absent, no_tospovirus"},
		&ucli.StringFlag{Name: "waiting-cost", Usage: "how many times as dear it is to wait wrongly as to act needlessly (1 when not said)"},
		&ucli.StringFlag{Name: "at", Usage: "latitude and longitude in degrees, such as \"45.1, -122.9\": for sunrise, sunset and day length"},
		&ucli.StringFlag{Name: "work-days", Usage: "days on which you work, such as Mon-Sat"},
		&ucli.StringFlag{Name: "work-hours", Usage: "times of day at which you work, such as \"07:00-12:00, 18:00-21:00\""},
		&ucli.StringFlag{Name: "harvest-days", Usage: "days on which you cut, such as \"Mon, Thu\""},
		&ucli.StringFlag{Name: "round-minutes", Usage: "minutes that you have for a scouting round"},
		&ucli.StringFlag{Name: "product-days", Usage: "your own least days between applications of a product; a label's longer interval stands"},
		&ucli.StringFlag{Name: "applicator-address", Usage: "address of whoever applies products, for the records"},
	}
}

func farmOptions(c *ucli.Context) app.FarmOptions {
	get := func(name string) *string {
		if !c.IsSet(name) {
			return nil
		}
		v := c.String(name)
		return &v
	}
	return app.FarmOptions{
		Name: get("name"), Place: get("place"), Country: get("country"), Zone: get("zone"), Hardiness: get("hardiness"),
		LastFrost: get("last-frost"), FirstFrost: get("first-frost"), Units: get("units"), Organic: get("organic"), Pests: get("pests"), Area: get("area"), WaitingCost: get("waiting-cost"),
		At: get("at"), WorkDays: get("work-days"), WorkHours: get("work-hours"), HarvestDays: get("harvest-days"), RoundMinutes: get("round-minutes"), ProductDays: get("product-days"), ApplicatorAddress: get("applicator-address"),
	}
}

func farmCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "farm", Usage: "set up the farm, show it, change it",
		Subcommands: []*ucli.Command{
			{
				Name: "new", Usage: "make the farm's file",
				UsageText: `leafturn farm new --name "My field" --zone America/Los_Angeles --last-frost 04-25 --first-frost 10-20 --hardiness 8a`,
				Flags:     outputFlags(farmFlags()...),
				Action: func(c *ucli.Context) error {
					if _, err := words(c, 0, 0, ""); err != nil {
						return err
					}
					path, err := d.path()
					if err != nil {
						return err
					}
					now, err := d.now()
					if err != nil {
						return err
					}
					said, err := app.NewFarm(c.Context, path, farmOptions(c), d.typed, d.actor(), now)
					if err != nil {
						return err
					}
					return d.sayOr(c, app.WroteFarm(said, now), said)
				},
			},
			{
				Name: "show", Usage: "the farm as it is set up", UsageText: "leafturn farm show", Flags: outputFlags(),
				Action: func(c *ucli.Context) error {
					if _, err := words(c, 0, 0, ""); err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						doc, err := a.ShowFarm(ctx)
						if err != nil {
							return err
						}
						return d.show(c, doc)
					})
				},
			},
			{
				Name: "set", Usage: "change what is given, leave the rest", UsageText: "leafturn farm set --units us --pests slug,mite,earwig",
				Flags: outputFlags(farmFlags()...),
				Action: func(c *ucli.Context) error {
					if _, err := words(c, 0, 0, ""); err != nil {
						return err
					}
					d.anyZone = c.IsSet("zone")
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						said, err := a.SetFarm(ctx, farmOptions(c))
						if err != nil {
							return err
						}
						return d.wrote(c, said, nil)
					})
				},
			},
		},
	}
}

// bedFlags are what can be said of a bed, in order; site is where it lies if nothing
// is said.
func bedFlags(site string) []ucli.Flag {
	return []ucli.Flag{
		&ucli.StringFlag{Name: "block", Usage: "the block it lies in"},
		&ucli.StringFlag{Name: "size", Usage: "length x width, such as \"25 m x 1.2 m\" or \"80 ft x 4 ft\""},
		&ucli.StringFlag{Name: "at", Usage: "distance of its corner from the field's south-west corner, east and north, such as \"0 m, 12 m\""},
		&ucli.StringFlag{Name: "plants", Usage: "number of plants"},
		&ucli.StringFlag{Name: "cultivar", Usage: "what grows there"},
		&ucli.StringFlag{Name: "irrigation", Usage: "drip, overhead, hand or none"},
		&ucli.StringFlag{Name: "site", Usage: "outdoor or house", Value: site},
		&ucli.StringFlag{Name: "water", Usage: "distance to the nearest water, such as \"20 m\""},
		&ucli.StringFlag{Name: "animals", Usage: "animals that come to it, such as \"hens, dog\", or none"},
		&ucli.StringFlag{Name: "leaves", Usage: "leaves of a plant, to turn mites per leaf into mites"},
		&ucli.StringFlag{Name: "crop", Usage: "what grows in it, if not dahlias"},
		&ucli.StringFlag{Name: "rows", Usage: "rows of plants along it, for rates along the row"},
	}
}

func bedOptions(c *ucli.Context, code string) app.BedOptions {
	o := app.BedOptions{
		Code: code, Block: c.String("block"), Size: c.String("size"), At: c.String("at"), Plants: c.String("plants"),
		Cultivar: c.String("cultivar"), Irrigation: c.String("irrigation"), Site: c.String("site"),
		Water: c.String("water"), Animals: c.String("animals"), Leaves: c.String("leaves"), Crop: c.String("crop"), Rows: c.String("rows"),
	}
	for _, f := range bedFlags("") {
		if name := f.Names()[0]; c.IsSet(name) && c.String(name) == "" {
			o.Blank = append(o.Blank, name)
		}
	}
	return o
}

func bedCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "bed", Usage: "add, list and import beds",
		Subcommands: []*ucli.Command{
			{
				Name: "add", Usage: "add a bed",
				UsageText: `leafturn bed add B3 --block B --size "25 m x 1.2 m" --plants 100 --cultivar "red ball" --irrigation drip`,
				ArgsUsage: "CODE",
				Flags:     outputFlags(bedFlags("outdoor")...),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "CODE")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						said, err := a.AddBed(ctx, bedOptions(c, w[0]))
						if err != nil {
							return err
						}
						return d.wrote(c, said, nil)
					})
				},
			},
			{
				Name: "set", Usage: "change what is known of a bed, leave the rest",
				UsageText: `leafturn bed set B3 --water "20 m" --animals none --leaves 45`, ArgsUsage: "CODE",
				Description: "A blank value takes away what was noted, such as --cultivar \"\".",
				Flags:       outputFlags(bedFlags("")...),
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "CODE")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						said, err := a.SetBed(ctx, bedOptions(c, w[0]))
						if err != nil {
							return err
						}
						return d.wrote(c, said, nil)
					})
				},
			},
			{
				Name: "import", Usage: "read beds from a CSV file: all of them, or none",
				UsageText: "leafturn bed import beds.csv", ArgsUsage: "FILE", Flags: outputFlags(),
				Description: "Columns: code, block, length_m (or _ft), width_m, plants, cultivar, irrigation,\nsite, x_m, y_m. Only code, length and width are needed.",
				Action: func(c *ucli.Context) error {
					w, err := words(c, 1, 1, "FILE")
					if err != nil {
						return err
					}
					return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
						return d.readFile(w[0], func(r *bytes.Reader, name string) error {
							said, err := a.ImportBeds(ctx, r, name)
							if err != nil {
								return err
							}
							return d.wrote(c, said, nil)
						})
					})
				},
			},
			{
				Name: "list", Usage: "the beds, their size and their stage", UsageText: "leafturn bed list --date 2026-07-20",
				Flags: outputFlags(dateOption),
				Action: func(c *ucli.Context) error {
					if _, err := words(c, 0, 0, ""); err != nil {
						return err
					}
					return d.answer(c, func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error) {
						return a.Beds(ctx, day)
					})
				},
			},
		},
	}
}

func backupCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "backup", Usage: "copy the farm's file safely and check the copy",
		UsageText: "leafturn backup farm-2026-07-20.leafturn", ArgsUsage: "FILE", Flags: outputFlags(),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 1, 1, "FILE")
			if err != nil {
				return err
			}
			a, err := d.open(c.Context)
			if err != nil {
				return err
			}
			doc, said, err := a.Backup(c.Context, w[0])
			if err != nil {
				return err
			}
			return d.sayOr(c, doc, said)
		},
	}
}
