package cli

import (
	"context"
	"path/filepath"
	"time"

	ucli "github.com/urfave/cli/v2"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

func importCommand(d *deps) *ucli.Command {
	return &ucli.Command{
		Name: "import", Usage: "bring in counts from CSV files and XLSX workbooks",
		UsageText: "leafturn import counts.csv --check\n" +
			"leafturn import counts.csv --dates dmy --accept-good --rest to-correct.csv\n" +
			"leafturn import traps.xlsx --sheet July --pest slug --save-map traps.toml\n" +
			"leafturn import traps.xlsx --map traps.toml",
		ArgsUsage: "FILE...",
		Description: `A row for each count, or a column for each trap, leaf, date, bed or pest. The
headings are guessed; --check shows how each column is read and what would
happen, and stores nothing. All rows are stored, or none. The same file twice
adds nothing. FILE - is standard input.

counts    0 is a count of none; - or NA is a unit not looked at; a blank is no
          unit, never a zero; 12/50 is 12 infested of 50 looked at; 70*0 is
          seventy zeros. >50, 2.5 and 40% are refused, with what to write.
dates     2026-07-13 or 13 Jul 2026; 3/4/2026 needs --dates, and is never guessed.
rows      of sums and means, blank rows and repeated headings are passed over.
          A unit number that stands twice with the same count is read once.
beds and pests are never corrected silently: an unknown word is refused with
          the nearest known one; a map file says what it stands for.
A visit is stored whole or not at all: where a row of it is wrong, or may
belong to it, all its rows go to the rest file.

After 50,000 counts or more the week's list is made ready by a process that
goes on for a moment after the command, so that ` + "`leafturn week`" + ` need not wait.`,
		Flags: outputFlags(
			&ucli.BoolFlag{Name: "check", Usage: "show how the sheet is read and what would happen; store nothing"},
			&ucli.BoolFlag{Name: "accept-good", Usage: "store the good rows; write the others, with reasons, to a file to correct"},
			&ucli.StringFlag{Name: "rest", Usage: "that `FILE` (else the sheet's name with -rest.csv)"},
			&ucli.StringFlag{Name: "map", Usage: "read the sheet as `FILE` says, written by --save-map and corrected by hand"},
			&ucli.StringFlag{Name: "save-map", Usage: "write to `FILE` how the sheet is read"},
			&ucli.StringFlag{Name: "dates", Usage: "the order of day and month in dates such as 3/4/2026: dmy, mdy or ymd"},
			&ucli.StringFlag{Name: "sheet", Usage: "the sheet of a workbook, when it holds several"},
			&ucli.StringFlag{Name: "blank", Usage: "what a blank count means: none (no unit there), lost (not looked at) or zero"},
			&ucli.StringFlag{Name: "bed", Usage: "the bed, when the sheet does not say"},
			&ucli.StringFlag{Name: "pest", Usage: "the pest, when the sheet does not say"},
			&ucli.StringFlag{Name: "unit", Usage: "the sample unit, when the sheet does not say"},
			&ucli.StringFlag{Name: "by", Usage: "who counted, where the sheet does not say"},
			&ucli.StringFlag{Name: "date", Usage: "the `DAY` of the counts, when the sheet does not say"},
			oldOption,
		),
		Action: func(c *ucli.Context) error {
			files, err := words(c, 1, -1, "FILE...")
			if err != nil {
				return err
			}
			return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
				o := app.ImportOptions{
					Check: c.Bool("check"), AcceptGood: c.Bool("accept-good"), Rest: c.String("rest"),
					Map: c.String("map"), SaveMap: c.String("save-map"), Dates: c.String("dates"), Sheet: c.String("sheet"), Blank: c.String("blank"),
					Bed: c.String("bed"), Pest: c.String("pest"), Unit: c.String("unit"), Observer: c.String("by"), In: d.In,
					Readies: d.readies(),
				}
				if c.IsSet("date") {
					if c.String("date") == "" {
						return diag.Usagef("write it as 2026-07-13", "--date has no value")
					}
					o.Date = day
				}
				tell, stop := fileBar(d, "reading")
				o.Progress = tell
				doc, err := a.Import(ctx, files, o)
				stop()
				if doc != nil {
					if err := d.show(c, doc); err != nil {
						return err
					}
				}
				return err
			})
		},
	}
}

// fileBar shows how far a file is read or written, on a terminal, once that takes
// more than a moment.
func fileBar(d *deps, doing string) (tell func(file string, done, total int64), stop func()) {
	if !isTerminal(d.Err) {
		return nil, func() {}
	}
	const moment = 500 * time.Millisecond
	began := time.Now()
	var p *mpb.Progress
	var bar *mpb.Bar
	reading := ""
	end := func() {
		if bar != nil {
			bar.Abort(true)
			p.Wait()
			bar = nil
		}
	}
	tell = func(file string, done, total int64) {
		if file != reading {
			end()
			reading = file
		}
		if time.Since(began) < moment {
			return
		}
		if bar == nil {
			p = mpb.New(mpb.WithOutput(d.Err), mpb.WithWidth(40))
			count := decor.CountersNoUnit("%d rows")
			if total > 0 {
				count = decor.CountersKibiByte("% .1f of % .1f")
			}
			bar = p.AddBar(total, mpb.PrependDecorators(decor.Name(doing+" "+filepath.Base(file)+" ")), mpb.AppendDecorators(count))
		}
		bar.SetCurrent(done)
	}
	return tell, end
}
