package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"

	ucli "github.com/urfave/cli/v2"
	"golang.org/x/term"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

const rootHelp = `leafturn takes a week's pest counts and says, bed by bed, what to do, what to
hold, and where to look again.

The product label and local law always outrank this program. What a label does
not say is unknown, and unknown is never assumed.

A first week:
   leafturn farm new --name "My field" --zone Europe/London --last-frost 04-25 --first-frost 10-20
   leafturn bed add B3 --size "25 m x 1.2 m" --plants 100
   leafturn stage planted B3
   leafturn count B3 slug 4 0 2 7 1
   leafturn week
   leafturn why 1`

// newApp builds the tree of commands.
func newApp(d *deps) *ucli.App {
	a := &ucli.App{
		Name:                      "leafturn",
		Usage:                     "pest counts in, the week's decisions out, for a small cut-flower field",
		Description:               rootHelp,
		Writer:                    d.Out,
		ErrWriter:                 d.Err,
		Reader:                    d.In,
		HideHelpCommand:           true,
		UseShortOptionHandling:    false,
		DisableSliceFlagSeparator: true,
		ExitErrHandler:            func(*ucli.Context, error) {},
		OnUsageError:              usageError,
		CommandNotFound:           nil,
		Flags: []ucli.Flag{
			&ucli.StringFlag{Name: "db", Usage: "the farm's `FILE` (else $LEAFTURN_DB, else the user's data folder)", Destination: &d.db},
			&ucli.StringFlag{Name: "now", Hidden: true, Destination: &d.nowText},
		},
		Commands: []*ucli.Command{
			weekCommand(d), monthPlanCommand(d), whyCommand(d), dueCommand(d), sampleCommand(d), trendCommand(d), forecastCommand(d), aheadCommand(d), degreeDaysCommand(d), workedCommand(d), roundCommand(d),
			countCommand(d), importCommand(d), treatCommand(d), releaseCommand(d), settledCommand(d), didCommand(d), flowersCommand(d), stageCommand(d), weatherCommand(d),
			labelCommand(d), pestCommand(d), thresholdCommand(d),
			plotCommand(d), companionsCommand(d), coversCommand(d),
			boardCommand(d), recordsCommand(d), reviewCommand(d), printCommand(d),
			farmCommand(d), bedCommand(d), visitsCommand(d), estimateCommand(d), calcCommand(d), amendCommand(d), voidCommand(d), undoCommand(d), redoCommand(d), historyCommand(d), exportCommand(d), backupCommand(d), restoreCommand(d), checkCommand(d), doctorCommand(d),
			demoCommand(d),
		},
		Action: func(c *ucli.Context) error {
			if c.Args().Present() {
				return unknownCommand(c.Args().First(), c.App.Commands, "leafturn")
			}
			return ucli.ShowAppHelp(c)
		},
	}
	prepare(a.Commands)
	return a
}

// prepare sets on every command what the library does not pass down: how
// usage errors read, that a command with parts refuses a part that it does not
// have, and the examples of its parts for its own help. The library itself
// fills in HelpName, the full name.
func prepare(cmds []*ucli.Command) {
	for _, c := range cmds {
		c.OnUsageError = usageError
		c.HideHelpCommand = true
		if len(c.Subcommands) == 0 {
			continue
		}
		prepare(c.Subcommands)
		if c.UsageText == "" {
			var examples []string
			for _, sub := range c.Subcommands {
				examples = append(examples, sub.UsageText)
			}
			c.UsageText = strings.Join(examples, "\n")
		}
		if c.Action == nil {
			c.Action = func(x *ucli.Context) error {
				if x.Args().Present() {
					return unknownCommand(x.Args().First(), c.Subcommands, c.HelpName)
				}
				return ucli.ShowSubcommandHelp(x)
			}
		}
	}
}

func unknownCommand(word string, cmds []*ucli.Command, parent string) error {
	var names []string
	for _, x := range cmds {
		names = append(names, x.Name)
	}
	return diag.Usagef("see the commands with `"+parent+" --help`", "there is no command %q in %s%s", word, parent, diag.DidYouMean(word, names))
}

// version is the program's version with that of its facts.
func version() string {
	v := "development"
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" && b.Main.Version != "(devel)" {
		v = b.Main.Version
	}
	return v + ", facts " + app.FactsVersion()
}

func terminalWidth(tty bool) int {
	if n, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && n > 0 {
		return n
	}
	if !tty {
		return 0
	}
	w, _, err := term.GetSize(int(os.Stdout.Fd()))
	if err != nil {
		return 0
	}
	return w
}

// outputFlags are the flags of every command that shows a document.
func outputFlags(more ...ucli.Flag) []ucli.Flag {
	return append(more, &ucli.BoolFlag{Name: "json", Usage: "write JSON, schema 1"})
}

// oldOption is for commands that enter what happened on a day.
var oldOption = &ucli.BoolFlag{Name: "old", Usage: "a day more than 10 years before the farm's first record is meant"}

var dateOption = &ucli.StringFlag{Name: "date", Usage: "the `DAY`: YYYY-MM-DD, today or yesterday"}

var htmlOption = &ucli.StringFlag{Name: "html", Usage: "write it as a page with pictures to `FILE` instead, in one piece that needs no network; - is standard output"}

// twoFiles refuses one file for a picture and a calendar.
func twoFiles(flag, picture, calendar string) error {
	if picture != "" && filepath.Clean(picture) == filepath.Clean(calendar) {
		return diag.Usagef("name two files", "--%s and --ics both name %q", flag, picture)
	}
	return nil
}

// stageCalendar makes a document's events ready as a calendar file; "-" is
// standard output.
func (d *deps) stageCalendar(file string) func(*report.Document) (app.Staged, error) {
	return func(doc *report.Document) (app.Staged, error) {
		var b bytes.Buffer
		if err := render.ICS(&b, *doc); errors.Is(err, render.ErrNoEvents) {
			return app.Staged{}, diag.Failf(err, "see the list itself: nothing on it has a day", "there is nothing to put in a calendar")
		} else if err != nil {
			return app.Staged{}, err
		}
		if file != "-" {
			return app.StageFile(file, b.Bytes())
		}
		return app.Staged{Keep: func() error {
			_, err := b.WriteTo(d.Out)
			return err
		}, Drop: func() {}}, nil
	}
}

// show renders a document as the flags ask.
func (d *deps) show(c *ucli.Context, doc *report.Document) error {
	if d.app != nil {
		if err := d.app.CorrectedSince(c.Context, doc); err != nil {
			return err
		}
	}
	if c.Bool("json") {
		return render.JSON(d.Out, *doc)
	}
	width := 88
	if d.Width > 0 {
		width = min(max(d.Width, 60), 100)
	}
	return render.Text(d.Out, *doc, render.Options{Width: width, Color: d.Color})
}

// page writes a document as a page to read, to a file or, for "-", to standard
// output.
func (d *deps) page(ctx context.Context, file string, doc *report.Document) error {
	if err := d.app.CorrectedSince(ctx, doc); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := render.HTML(&b, *doc); err != nil {
		return err
	}
	return d.give(file, b.Bytes(), "written: "+file)
}

// give writes a file whole and says so; "-" is standard output.
func (d *deps) give(file string, raw []byte, said string) error {
	if file == "-" {
		_, err := d.Out.Write(raw)
		return err
	}
	if err := app.WriteFile(file, raw); err != nil {
		return err
	}
	d.say("%s", said)
	return nil
}

// showPages renders a document for printing and posting.
func (d *deps) showPages(c *ucli.Context, doc *report.Document) error {
	if c.Bool("json") {
		return render.JSON(d.Out, *doc)
	}
	return render.Pages(d.Out, *doc, render.Options{Width: render.PageWidth, Color: d.Color}, render.PageLines)
}

// say writes a line for people about what was done.
func (d *deps) say(format string, args ...any) { fmt.Fprintf(d.Out, format+"\n", args...) }

// sayOr says what was done or, with --json, writes it as a document.
func (d *deps) sayOr(c *ucli.Context, doc *report.Document, said string) error {
	if c.Bool("json") {
		return render.JSON(d.Out, *doc)
	}
	d.say("%s", said)
	return nil
}

// wrote says what a command stored, with what it warns of; with --json as a
// document.
func (d *deps) wrote(c *ucli.Context, said string, warnings []string) error {
	d.warn(warnings)
	return d.sayOr(c, d.app.Wrote(said, warnings), said+d.app.StoredAs())
}

// warn writes warnings to the error stream.
func (d *deps) warn(lines []string) {
	for _, l := range lines {
		fmt.Fprintln(d.Err, fold("note: "+l, d.ErrWidth))
	}
}

// with opens the store, reads --date where the command has it, and runs f.
func (d *deps) with(c *ucli.Context, f func(ctx context.Context, a *app.App, day civil.Date) error) error {
	a, err := d.open(c.Context)
	if err != nil {
		return err
	}
	if c.Bool("old") {
		a.AllowOld()
	}
	day, err := dateFlag(c.String("date"), a.Today())
	if err != nil {
		return err
	}
	return f(c.Context, a, day)
}

// answer shows the document that f makes.
func (d *deps) answer(c *ucli.Context, f func(ctx context.Context, a *app.App, day civil.Date) (*report.Document, error)) error {
	return d.with(c, func(ctx context.Context, a *app.App, day civil.Date) error {
		doc, err := f(ctx, a, day)
		if err != nil {
			return err
		}
		return d.show(c, doc)
	})
}

// words returns the command's words, refusing too few or too many. max < 0 is
// no limit. want names them for the message.
func words(c *ucli.Context, minimum, maximum int, want string) ([]string, error) {
	w := c.Args().Slice()
	name := strings.TrimPrefix(c.Command.HelpName, "leafturn ")
	do := "write it as `" + strings.TrimSpace(c.Command.HelpName+" "+want) + "`; see `" + c.Command.HelpName + " --help`"
	if len(w) < minimum {
		return nil, diag.Usagef(do, "%s needs %s", name, want)
	}
	if maximum >= 0 && len(w) > maximum {
		return nil, diag.Usagef(do, "%s does not take %q", name, strings.Join(w[maximum:], " "))
	}
	return w, nil
}
