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
// flags. After "--" everything is a word. With --help the words do not matter,
// and are left out: the library takes the first for a topic. A flag without
// its value ends the line, which the library refuses; it would take whatever
// came next for the value.
func arrange(app *ucli.App, args []string) []string {
	if len(args) == 0 {
		return args
	}
	flags, cmds, rest := app.Flags, app.Commands, args[1:]
	var own, out, words []string
	help := false
	for i := 0; i < len(rest); i++ {
		word := rest[i]
		switch {
		case word == "--":
			words = append(words, rest[i+1:]...)
			i = len(rest)
		case isFlag(word):
			help = help || slices.Contains(ucli.HelpFlag.Names(), flagName(word))
			f, to := lookUp(flags, word), &out
			if f == nil {
				if f = lookUp(app.Flags, word); f != nil {
					to = &own
				}
			}
			*to = append(*to, word)
			if !wantsValue(f, word) {
				break
			}
			known := slices.Concat(flags, app.Flags, []ucli.Flag{ucli.HelpFlag})
			if i+1 == len(rest) || rest[i+1] == "--" || isFlag(rest[i+1]) && lookUp(known, rest[i+1]) != nil {
				if to == &own {
					out = nil
				}
				return slices.Concat(args[:1], own, out)
			}
			i++
			*to = append(*to, rest[i])
		default:
			if c := find(cmds, word); c != nil && len(words) == 0 {
				out, flags, cmds = append(out, word), c.Flags, c.Subcommands
				break
			}
			words = append(words, word)
		}
	}
	if len(words) > 0 && !help {
		out = append(append(out, "--"), words...)
	}
	return slices.Concat(args[:1], own, out)
}

// isFlag reports whether a word is a flag: it begins with a hyphen, and is
// neither a lone hyphen nor a negative number.
func isFlag(s string) bool {
	return len(s) > 1 && s[0] == '-' && s != "--" && (s[1] < '0' || s[1] > '9') && s[1] != '.'
}

// flagName returns the name in "--name", "-name" and "--name=value".
func flagName(word string) string {
	name, _, _ := strings.Cut(strings.TrimLeft(word, "-"), "=")
	return name
}

// lookUp returns the flag that a word names, or nil.
func lookUp(flags []ucli.Flag, word string) ucli.Flag {
	for _, f := range flags {
		if slices.Contains(f.Names(), flagName(word)) {
			return f
		}
	}
	return nil
}

// wantsValue reports whether the value of a flag is the next word.
func wantsValue(f ucli.Flag, word string) bool {
	d, ok := f.(ucli.DocGenerationFlag)
	return ok && d.TakesValue() && !strings.Contains(word, "=")
}

func find(cmds []*ucli.Command, name string) *ucli.Command {
	for _, c := range cmds {
		if c.HasName(name) {
			return c
		}
	}
	return nil
}

// misnamed refuses a word that stands where a command must, before its flags
// are taken for those of the command above it. Where help is asked for, or a
// flag is known to no command there, it says nothing.
func misnamed(app *ucli.App, args []string) error {
	flags, cmds, parent := app.Flags, app.Commands, app.Name
	if slices.ContainsFunc(args, func(s string) bool { return isFlag(s) && slices.Contains(ucli.HelpFlag.Names(), flagName(s)) }) {
		return nil
	}
	for i := 1; i < len(args) && len(cmds) > 0 && args[i] != "--"; i++ {
		word := args[i]
		if isFlag(word) {
			f := lookUp(slices.Concat(flags, app.Flags), word)
			if f == nil {
				return nil
			}
			if wantsValue(f, word) {
				i++
			}
			continue
		}
		c := find(cmds, word)
		if c == nil {
			for _, x := range cmds {
				flags = slices.Concat(flags, x.Flags, app.Flags)
			}
			if slices.ContainsFunc(args[i:], func(s string) bool { return isFlag(s) && lookUp(flags, s) == nil }) {
				return nil // a flag of no command there is told first
			}
			return unknownCommand(word, cmds, parent)
		}
		parent += " " + c.Name
		if flags, cmds = c.Flags, c.Subcommands; c.ArgsUsage != "" {
			return nil
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
	if name, ok := strings.CutPrefix(msg, "flag provided but not defined: "); ok {
		msg = "there is no flag --" + flagName(name) + diag.DidYouMean("--"+flagName(name), known)
	} else if name, ok := strings.CutPrefix(msg, "flag needs an argument: "); ok {
		msg = "the flag --" + flagName(name) + " needs a value after it"
	} else if value, rest, ok := strings.Cut(msg, " for -"); ok && strings.HasPrefix(value, "invalid boolean value ") {
		name, _, _ := strings.Cut(rest, ":")
		msg = "the flag --" + flagName(name) + " takes no value"
	}
	return diag.Usagef(do, "%s", msg)
}
