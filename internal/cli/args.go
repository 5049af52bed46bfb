package cli

import (
	"slices"
	"strings"

	ucli "github.com/urfave/cli/v2"

	"leafturn/internal/diag"
)

// arrange puts the flags of a command line before its other words, so that
// flags work wherever they are typed: the library below stops reading flags
// at the first word that is none and would ignore the rest in silence. The
// program's own flags, such as --db, move before the command's name, unless
// the command has a flag of that name.
//
// A lone "-" (a unit not looked at) and a negative number are words, not
// flags. After "--" everything is a word.
func arrange(app *ucli.App, args []string) []string {
	if len(args) == 0 {
		return args
	}
	flags, cmds, rest := app.Flags, app.Commands, args[1:]
	var own, out, words []string
	for i := 0; i < len(rest); i++ {
		word := rest[i]
		switch {
		case word == "--":
			words = append(words, rest[i+1:]...)
			i = len(rest)
		case isFlag(word):
			n, known := flagLen(flags, rest[i:])
			if m, global := flagLen(app.Flags, rest[i:]); !known && global {
				own = append(own, rest[i:i+m]...)
				i += m - 1
				break
			}
			out = append(out, rest[i:i+n]...)
			i += n - 1
		default:
			if c := find(cmds, word); c != nil && len(words) == 0 {
				out, flags, cmds = append(out, word), c.Flags, c.Subcommands
				break
			}
			words = append(words, word)
		}
	}
	if len(words) > 0 {
		out = append(append(out, "--"), words...)
	}
	return append(append(args[:1:1], own...), out...)
}

// isFlag reports whether a word is a flag: it begins with a hyphen, and is
// neither a lone hyphen nor a negative number.
func isFlag(s string) bool {
	return len(s) > 1 && s[0] == '-' && s != "--" && (s[1] < '0' || s[1] > '9') && s[1] != '.'
}

// flagLen returns how many words the flag that begins args takes up, 2 when
// its value is the next word, and whether it is one of flags.
func flagLen(flags []ucli.Flag, args []string) (n int, known bool) {
	name, _, joined := strings.Cut(strings.TrimLeft(args[0], "-"), "=")
	for _, f := range flags {
		if !slices.Contains(f.Names(), name) {
			continue
		}
		if d, ok := f.(ucli.DocGenerationFlag); ok && d.TakesValue() && !joined && len(args) > 1 {
			return 2, true
		}
		return 1, true
	}
	return 1, false
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
			known = append(known, "--"+f.Names()[0])
		}
	}
	flagName := func(s string) string { return "--" + strings.TrimLeft(s, "-") }
	if name, ok := strings.CutPrefix(msg, "flag provided but not defined: "); ok {
		msg = "there is no flag " + flagName(name) + diag.DidYouMean(flagName(name), known)
	} else if name, ok := strings.CutPrefix(msg, "flag needs an argument: "); ok {
		msg = "the flag " + flagName(name) + " needs a value after it"
	} else if value, rest, ok := strings.Cut(msg, " for -"); ok && strings.HasPrefix(value, "invalid boolean value ") {
		name, _, _ := strings.Cut(rest, ":")
		msg = "the flag " + flagName(name) + " takes no value"
	}
	return diag.Usagef(do, "%s", msg)
}
