package cli

import (
	"context"
	"strings"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// amendUsage says what each flag of `amend` is; those that are switches have
// no value.
var amendUsage = map[string]string{
	"amount":     "of a treatment: product used on the bed; of a release: animals let out",
	"area":       "of a treatment: the area treated",
	"at":         "of a release: the time of day",
	"because":    "of a treatment or release: number of the `VISIT` that led to it, or none",
	"by":         "who counted, let out or did it",
	"count":      "of a look whether animals have settled: seen on `WITH/LOOKED`",
	"date":       "the `DAY` it happened",
	"end":        "of a treatment: when it ended",
	"forecast":   "of weather: yes or no",
	"humidity":   "of weather",
	"kill":       "of a cover: the `DATE` on which it is ended, or none",
	"licence":    "of a treatment",
	"lot":        "of a treatment",
	"max":        "of weather: highest air temperature",
	"method":     "of a treatment",
	"min":        "of weather: lowest air temperature",
	"note":       "the remark",
	"part":       "of a treatment or release: the part of the bed",
	"pest":       "of a treatment or release: the `PEST`",
	"rain":       "of weather",
	"sky":        "of a treatment",
	"soil":       "of weather: soil temperature",
	"sow":        "of a cover: the `DATE` on which it is sown",
	"spray":      "of a treatment",
	"start":      "of a treatment: when it began",
	"temp":       "of a treatment: air temperature",
	"who":        "of a treatment: who applied it",
	"why":        "of a treatment or an own level: the reason that stands in the record",
	"wind":       "of a treatment",
	"enough":     "of a step: it was enough",
	"found":      "of a look: seen, and not counted",
	"not-found":  "of a look: not seen",
	"not-enough": "of a step: it was not enough",
}

var amendSwitches = []string{"enough", "not-enough", "found", "not-found"}

func amendCommand(d *deps) *ucli.Command {
	flags := []ucli.Flag{&ucli.StringFlag{Name: "reason", Usage: "why it is amended (needed)"}, oldOption}
	for _, name := range app.AmendFlags() {
		if contains(amendSwitches, name) {
			flags = append(flags, &ucli.BoolFlag{Name: name, Usage: amendUsage[name]})
			continue
		}
		flags = append(flags, &ucli.StringFlag{Name: name, Usage: amendUsage[name]})
	}
	return &ucli.Command{
		Name: "amend", Usage: "put a record with other values in the place of a wrong one, which stays in the history",
		UsageText: `leafturn amend visit 12 A1 slug 3 4 5 --reason "misread the sheet"` + "\n" +
			`leafturn amend treatment 3 --amount "130 g" --reason "weighed again"` + "\n" +
			`leafturn amend done 4 slug night_pick B4 --reason "wrong bed"`,
		ArgsUsage: "KIND NUMBER [WORDS...]",
		Description: `WORDS are those of the command that made the record, for one bed; flags are the
same too. What is not given stays as it was.
   visit      BED PEST COUNTS...     as in ` + "`leafturn count`" + `; nights=-, air=-, +ENEMY=- and
                                 the like take it off, a # alone the note
   treatment  [LABEL [BED]]          release  [AGENT [BED]]
   done       [PEST STEP [BED]], of flowers [none|open [BED]], of a look [AGENT [BED]]
   stage      [STAGE [BED]]          cover    [COVER [BED]]
   override   [VALUE]                weather  flags only
A bed, a label and the farm are changed with their own ` + "`set`" + `; ` + "`history`" + ` shows
what they were.`,
		Flags: outputFlags(flags...),
		Action: func(c *ucli.Context) error {
			w, err := words(c, 2, -1, "KIND NUMBER [WORDS...]")
			if err != nil {
				return err
			}
			o := app.AmendOptions{Kind: w[0], Number: w[1], Words: w[2:], Reason: c.String("reason"), Set: map[string]string{}}
			for _, name := range app.AmendFlags() {
				switch {
				case contains(amendSwitches, name):
					if c.Bool(name) {
						o.Set[name] = "yes"
					}
				case c.IsSet(name):
					o.Set[name] = c.String(name)
				}
			}
			return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
				doc, res, err := a.Amend(ctx, o)
				if err != nil {
					return err
				}
				d.warn(res.Warnings)
				return d.sayOr(c, doc, res.Said)
			})
		},
	}
}

func contains(list []string, x string) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

// turnCommand is undo or redo.
func turnCommand(d *deps, name, usage, more string, do func(*app.App, context.Context) (*report.Document, string, error)) *ucli.Command {
	return &ucli.Command{
		Name: name, Usage: usage, UsageText: "leafturn " + name, Description: more, Flags: outputFlags(),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, _ civil.Date) error {
				doc, said, err := do(a, ctx)
				if err != nil {
					return err
				}
				return d.sayOr(c, doc, said)
			})
		},
	}
}

func undoCommand(d *deps) *ucli.Command {
	return turnCommand(d, "undo", "take back all that the last command wrote",
		"Once more takes back the command before it. Entries, amendments, voids and settings\n"+
			"are taken back whole; the farm itself and what a calendar file was given are not.\n"+
			"Nothing is erased: `leafturn history` shows both.", (*app.App).Undo)
}

func redoCommand(d *deps) *ucli.Command {
	return turnCommand(d, "redo", "bring back what undo took back",
		"Only until another command writes.", (*app.App).Redo)
}

func historyCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "history", Usage: "what each command wrote, or every version of one record",
		UsageText: "leafturn history\nleafturn history visit 12\nleafturn history bed B3\nleafturn history label ironbait",
		ArgsUsage: "[KIND NUMBER | bed CODE | label LABEL | farm]",
		Description: "KIND is visit, treatment, release, done, stage, weather, override or cover. Any version's\n" +
			"number shows them all.",
		Flags: outputFlags(&ucli.BoolFlag{Name: "all", Usage: "every command, not the last 20"}),
		Action: func(c *ucli.Context) error {
			return d.answer(c, func(ctx context.Context, a *app.App, _ civil.Date) (*report.Document, error) {
				return a.History(ctx, c.Args().Slice(), c.Bool("all"))
			})
		},
	}
}

// hidden are the flags whose values the journal does not keep.
var hidden = []string{"licence", "applicator-address"}

// typed is a command line as the journal keeps it: without the program, the
// file and the clock, and with marks in the place of values that are nobody's
// business.
func typed(args []string) string {
	var out []string
	for i := 1; i < len(args); i++ {
		w := args[i]
		name := ""
		if isFlag(w) {
			name = flagName(w)
		}
		_, _, joined := strings.Cut(w, "=")
		switch {
		case name == "db" || name == "now":
			if !joined {
				i++
			}
		case contains(hidden, name):
			out = append(out, "--"+name, "***")
			if !joined {
				i++
			}
		default:
			out = append(out, w)
		}
	}
	return app.Typed(out)
}

func doctorCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "doctor", Usage: "look for what is wrong with the farm's file and its records, and say what to do",
		UsageText: "leafturn doctor\nleafturn doctor --rescue saved\nleafturn doctor --accept",
		Description: "Looks at the file's integrity, its references and sums, words that the facts do not\n" +
			"know, the clock, records that cannot be, and what nobody has read on labels. Ends\n" +
			"with code 1 when something is wrong. It changes nothing.\n\n" +
			"--rescue writes what can still be read of a damaged file into a new folder, a CSV\n" +
			"file for each table.\n\n" +
			"Every value stands twice in the file, and the two are compared. --accept keeps what\n" +
			"the records and the counts say where the second copy or a sum says something else;\n" +
			"look at what doctor says of them first, and put right afterwards what is wrong.",
		Flags: outputFlags(&ucli.StringFlag{Name: "rescue", Usage: "save what can still be read into `FOLDER`"},
			&ucli.BoolFlag{Name: "accept", Usage: "keep what the records say where their second copy differs"}),
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
			if folder := c.String("rescue"); folder != "" {
				doc, said, err := app.Rescue(c.Context, path, folder, now)
				if err != nil {
					return err
				}
				return d.sayOr(c, doc, said)
			}
			if c.Bool("accept") {
				doc, said, err := app.Accept(c.Context, path, d.typed, d.actor(), now)
				if err != nil {
					return err
				}
				return d.sayOr(c, doc, said)
			}
			doc, err := d.examine(c)
			if err != nil {
				return err
			}
			if err := d.show(c, doc); err != nil {
				return err
			}
			return app.Unsound(doc)
		},
	}
}

// examine is what doctor finds, also of a file that does not open.
func (d *deps) examine(c *ucli.Context) (*report.Document, error) {
	a, err := d.open(c.Context)
	if err == nil {
		return a.Doctor(c.Context)
	}
	path, err2 := d.path()
	if err2 != nil {
		return nil, err2
	}
	now, err2 := d.now()
	if err2 != nil {
		return nil, err2
	}
	if doc := app.DamagedReport(c.Context, path, err, now); doc != nil {
		return doc, nil
	}
	return nil, err
}

func checkCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "check", Usage: "is the farm's file whole: doctor's answer in a line",
		UsageText: "leafturn check",
		Description: "Looks at what doctor looks at. Ends with code 1 when the file is not whole; what is\n" +
			"wrong in its records is counted, and `leafturn doctor` says what to do.",
		Flags: outputFlags(),
		Action: func(c *ucli.Context) error {
			if _, err := words(c, 0, 0, ""); err != nil {
				return err
			}
			doc, err := d.examine(c)
			if err != nil {
				return err
			}
			said, wrong := app.Summary(doc)
			switch {
			case c.Bool("json"):
				if err := render.JSON(d.Out, *doc); err != nil {
					return err
				}
			case wrong == nil:
				d.say("%s", said)
			}
			return wrong
		},
	}
}
