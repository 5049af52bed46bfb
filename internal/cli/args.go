package cli

import (
	"strings"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/diag"
)

// arrange puts the flags of a command line before its other words, so that
// flags work wherever they are typed: the library below stops reading flags
// at the first word that is none and would ignore the rest in silence.
//
// A lone "-" (a unit not looked at) and a negative number are words, not
// flags. After "--" everything is a word.
func arrange(app *ucli.App, args []string) []string {
	if len(args) == 0 {
		return args
	}
	out := args[:1:1]
	rest := args[1:]
	flags, cmds := app.Flags, app.Commands
	// The program's own flags, then the names of commands, each with flags.
	for {
		var words []string
		i := 0
		for i < len(rest) && isFlag(rest[i]) {
			n := flagLen(flags, rest, i)
			out = append(out, rest[i:i+n]...)
			i += n
		}
		if i < len(rest) {
			if c := find(cmds, rest[i]); c != nil {
				out = append(out, rest[i])
				rest, flags, cmds = rest[i+1:], c.Flags, c.Subcommands
				if len(cmds) > 0 {
					continue
				}
				i = 0
			}
		}
		for ; i < len(rest); i++ {
			switch {
			case rest[i] == "--":
				words = append(words, rest[i+1:]...)
				i = len(rest)
			case isFlag(rest[i]):
				n := flagLen(flags, rest, i)
				out = append(out, rest[i:i+n]...)
				i += n - 1
			default:
				words = append(words, rest[i])
			}
		}
		if len(words) > 0 {
			out = append(append(out, "--"), words...)
		}
		return out
	}
}

// isFlag reports whether a word is a flag: it begins with a hyphen, and is
// neither a lone hyphen nor a negative number.
func isFlag(s string) bool {
	return len(s) > 1 && s[0] == '-' && s != "--" && (s[1] < '0' || s[1] > '9') && s[1] != '.'
}

// flagLen returns how many words the flag at args[i] takes up: 2 when its
// value is the next word.
func flagLen(flags []ucli.Flag, args []string, i int) int {
	name := strings.TrimLeft(args[i], "-")
	if strings.Contains(name, "=") {
		return 1
	}
	for _, f := range flags {
		for _, n := range f.Names() {
			if n != name {
				continue
			}
			if d, ok := f.(ucli.DocGenerationFlag); ok && d.TakesValue() && i+1 < len(args) {
				return 2
			}
			return 1
		}
	}
	return 1
}

func find(cmds []*ucli.Command, name string) *ucli.Command {
	for _, c := range cmds {
		if c.HasName(name) {
			return c
		}
	}
	return nil
}

// usageError turns the library's complaint about flags into ours.
func usageError(c *ucli.Context, err error, _ bool) error {
	msg := err.Error()
	do := "see what it takes with `leafturn --help`"
	var known []string
	if c != nil && c.Command != nil {
		if c.Command.HelpName != "" {
			do = "see what it takes with `" + c.Command.HelpName + " --help`"
		}
		for _, f := range c.Command.Flags {
			known = append(known, f.Names()...)
		}
	}
	if name, ok := strings.CutPrefix(msg, "flag provided but not defined: -"); ok {
		msg = "there is no flag --" + strings.TrimLeft(name, "-") + diag.DidYouMean(strings.TrimLeft(name, "-"), known)
	}
	return diag.Usagef(do, "%s", msg)
}
