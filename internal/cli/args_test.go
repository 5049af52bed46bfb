package cli

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	ucli "github.com/urfave/cli/v2"
	"pgregory.net/rapid"

	"leafturn/internal/diag"
)

// tree is a small tree of commands with the real one's kinds of flags.
func tree() *ucli.App {
	return &ucli.App{
		Flags: []ucli.Flag{&ucli.StringFlag{Name: "db"}, &ucli.StringFlag{Name: "now"}},
		Commands: []*ucli.Command{
			{Name: "count", Flags: []ucli.Flag{&ucli.StringFlag{Name: "file", Aliases: []string{"f"}}, &ucli.StringFlag{Name: "date"}, &ucli.BoolFlag{Name: "check"}, &ucli.StringSliceFlag{Name: "bed"}}},
			{Name: "bed", Subcommands: []*ucli.Command{
				{Name: "add", Flags: []ucli.Flag{&ucli.StringFlag{Name: "size"}}},
				{Name: "open", Flags: []ucli.Flag{&ucli.StringFlag{Name: "db"}}},
			}},
		},
	}
}

func TestArrange(t *testing.T) {
	for _, c := range []struct{ typed, want string }{
		{"", ""},
		{"count", "count"},
		{"count B3 slug 4 0", "count -- B3 slug 4 0"},
		// Flags anywhere, with the value behind them or joined.
		{"count B3 slug 4 --date 2026-07-20 0", "count --date 2026-07-20 -- B3 slug 4 0"},
		{"count --date 2026-07-20 B3 slug", "count --date 2026-07-20 -- B3 slug"},
		{"count B3 --date=2026-07-20 slug", "count --date=2026-07-20 -- B3 slug"},
		{"count B3 -date 2026-07-20 slug", "count -date 2026-07-20 -- B3 slug"},
		{"count B3 slug 4 -f notes.txt", "count -f notes.txt -- B3 slug 4"},
		{"count B3 --check slug", "count --check -- B3 slug"},
		{"count B3 --bed A --bed B slug", "count --bed A --bed B -- B3 slug"},
		{"count --check --date today", "count --check --date today"},
		// A lone hyphen and numbers below zero are words, and may be values.
		{"count B3 slug 4 - 0 -", "count -- B3 slug 4 - 0 -"},
		{"count B3 slug -3 -.5 -0", "count -- B3 slug -3 -.5 -0"},
		{"count --date -3 B3", "count --date -3 -- B3"},
		{"count --file - B3", "count --file - -- B3"},
		// After "--" everything is a word.
		{"count -- --date B3", "count -- --date B3"},
		{"count B3 -- --check -- x", "count -- B3 --check -- x"},
		{"-- count B3", "-- count B3"},
		{"count --", "count"},
		// Unknown flags stay flags, so that the library refuses them.
		{"count B3 --dat 2026-07-20 slug", "count --dat -- B3 2026-07-20 slug"},
		// A flag without its value ends the line: the next word is no value.
		{"count B3 slug 4 --date", "count --date"},
		{"count B3 slug 4 --date -- 5", "count --date"},
		{"count B3 --date --check slug 4", "count --date"},
		{"count B3 --date --file=x slug 4", "count --date"},
		{"count --check B3 --date", "count --check --date"},
		{"count B3 --db", "--db"},
		{"count B3 --db --check", "--db"},
		{"count --date=--check B3", "count --date=--check -- B3"},
		{"count --date --now B3", "count --date"},
		{"count --date --help", "count --date"},
		{"bed --db --db add", "--db"},
		{"count --date --unknown B3", "count --date --unknown -- B3"},
		{"--bogus count B3", "--bogus count -- B3"},
		// The program's own flags move to the front, but for a command with
		// one of that name.
		{"count B3 --db x.leafturn slug", "--db x.leafturn count -- B3 slug"},
		{"--db x.leafturn count B3", "--db x.leafturn count -- B3"},
		{"count --db=x.leafturn B3", "--db=x.leafturn count -- B3"},
		{"bed add B3 --now t --size s", "--now t bed add --size s -- B3"},
		{"bed --db x add B3", "--db x bed add -- B3"},
		{"bed open B3 --db x", "bed open --db x -- B3"},
		// Parts of commands.
		{"bed", "bed"},
		{"bed add B3 --size s", "bed add --size s -- B3"},
		{"bed ad B3", "bed -- ad B3"},
		{"bed B3 add", "bed -- B3 add"},
		{"cuont B3 --date x", "--date -- cuont B3 x"},
		{"count bed add", "count -- bed add"},
		// With help the words do not matter.
		{"count B3 slug --help", "count --help"},
		{"bed add B3 -h", "bed add -h"},
		{"count -- --help", "count -- --help"},
	} {
		got := arrange(tree(), append([]string{"leafturn"}, strings.Fields(c.typed)...))
		assert.Equal(t, "leafturn "+c.want, strings.TrimSuffix(strings.Join(got, " ")+" ", " ")+pad(c.want), "typed: %s", c.typed)
	}
	require.Empty(t, arrange(tree(), nil))
}

// pad keeps the blank after the program's name when nothing follows.
func pad(want string) string {
	if want == "" {
		return " "
	}
	return ""
}

// Whatever is typed: no word is lost or made up, the words that are no flags
// keep their order, the caller's slice stays as it was, and arranging twice is
// arranging once.
func TestArrange_Properties(t *testing.T) {
	word := rapid.OneOf(
		rapid.SampledFrom([]string{"count", "bed", "add", "open", "B3", "slug", "4", "-", "-3", "--", "--date", "--date=x", "-f", "--check", "--db", "--db=y", "--dat", "", "70*0", "+predatory_mite=2", "---", "-x"}),
		rapid.StringMatching(`[-a-z0-9=]{0,6}`),
	)
	rapid.Check(t, func(t *rapid.T) { checkArranged(t, rapid.SliceOf(word).Draw(t, "words")) })
}

func FuzzArrange(f *testing.F) {
	for _, s := range []string{"count\nB3\nslug\n4\n--date\ntoday\n0", "bed\nadd\nB3\n--db\nx", "count\n-\n-3\n--\n--check", "count\n--date", "bed\nopen\n--db\n--db=y", "4\n-h=v87"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkArranged(t, strings.Split(s, "\n")) })
}

type reporter interface {
	Fatalf(format string, args ...any)
}

func checkArranged(t reporter, typed []string) {
	args := append([]string{"leafturn"}, typed...)
	before := slices.Clone(args)
	app := tree()
	got := arrange(app, args)
	if !slices.Equal(before, args) {
		t.Fatalf("the words typed were changed: %q", args)
	}
	if len(got) == 0 || got[0] != "leafturn" {
		t.Fatalf("%q does not begin with the program's name", got)
	}
	if again := arrange(app, got); !slices.Equal(again, got) {
		t.Fatalf("arranged twice: %q, then %q", got, again)
	}
	if f := lookUp(slices.Concat(app.Flags, app.Commands[0].Flags, app.Commands[1].Subcommands[0].Flags), got[len(got)-1]); !slices.Contains(got, "--") && isFlag(got[len(got)-1]) && wantsValue(f, got[len(got)-1]) {
		return // a flag without its value ends the line
	}
	if slices.ContainsFunc(typed, func(w string) bool { return isFlag(w) && (flagName(w) == "h" || flagName(w) == "help") }) {
		return // words are left out
	}
	count := func(words []string) map[string]int {
		n := map[string]int{}
		for _, w := range words {
			n[w]++
		}
		return n
	}
	a, b := count(before), count(got)
	for w, n := range a {
		if w != "--" && b[w] != n {
			t.Fatalf("%q: %q was there %d times, now %d times: %q", before, w, n, b[w], got)
		}
	}
	for w := range b {
		if w != "--" && a[w] == 0 {
			t.Fatalf("%q was made up: %q", w, got)
		}
	}
	if i := slices.Index(got, "--"); i >= 0 {
		words, from := got[i+1:], 0
		for _, w := range words {
			j := slices.Index(before[from:], w)
			if j < 0 {
				t.Fatalf("the words %q are not in the order typed: %q", words, before)
			}
			from += j + 1
		}
	}
}

// walk calls f with every command of the real tree and the words that lead to
// it, parents first.
func walk(f func(words []string, c *ucli.Command)) {
	a := newApp(&deps{Streams: Streams{Out: &bytes.Buffer{}, Err: &bytes.Buffer{}, In: &bytes.Buffer{}}})
	var down func(parent []string, cmds []*ucli.Command)
	down = func(parent []string, cmds []*ucli.Command) {
		for _, c := range cmds {
			words := append(slices.Clone(parent), c.Name)
			f(words, c)
			down(words, c.Subcommands)
		}
	}
	down(nil, a.Commands)
}

// play runs the program on a farm file that is not there.
func play(t *testing.T, words ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	none := filepath.Join(t.TempDir(), "none.leafturn")
	code = Main(context.Background(), append([]string{"leafturn"}, words...), Streams{
		In: strings.NewReader(""), Out: &o, Err: &e,
		Now:    func() time.Time { return time.Date(2026, 7, 20, 18, 0, 0, 0, time.UTC) },
		Getenv: func(name string) string { return map[string]string{"LEAFTURN_DB": none}[name] },
	})
	_, err := os.Stat(none)
	require.ErrorIs(t, err, os.ErrNotExist, "%q made a farm", words)
	return code, o.String(), e.String()
}

// Every command sets what the library does not pass down, says what it is for
// and gives an example that it takes itself.
func TestCommands(t *testing.T) {
	n := 0
	walk(func(words []string, c *ucli.Command) {
		n++
		name := "leafturn " + strings.Join(words, " ")
		assert.NotNil(t, c.OnUsageError, "%s: OnUsageError", name)
		assert.True(t, c.HideHelpCommand, "%s: the word help is no command here", name)
		assert.NotNil(t, c.Action, "%s: Action", name)
		assert.NotEmpty(t, c.Usage, "%s: Usage", name)
		require.NotEmpty(t, c.UsageText, "%s: an example", name)
		for _, line := range strings.Split(c.UsageText, "\n") {
			assert.True(t, line == name || strings.HasPrefix(line, name+" "), "%s: the example %q is one of another command", name, line)
		}
		for _, f := range c.Flags {
			assert.Regexp(t, `^[a-z][a-z-]*$`, f.Names()[0], "%s", name)
			if d, ok := f.(ucli.DocGenerationFlag); assert.True(t, ok) {
				assert.NotEmpty(t, d.GetUsage(), "%s --%s: what it is", name, f.Names()[0])
			}
			switch f.(type) {
			case *ucli.StringFlag, *ucli.BoolFlag, *ucli.StringSliceFlag:
			default:
				t.Errorf("%s --%s is a %T: the library reads 010 as 8 and takes NaN; take text and read it yourself", name, f.Names()[0], f)
			}
		}
	})
	require.Greater(t, n, 30)
}

// The flags of every example are flags of its command.
func TestCommands_Examples(t *testing.T) {
	flag := regexp.MustCompile(`(?:^| )--?([a-z][a-z-]*)`)
	quoted := regexp.MustCompile(`"[^"]*"`)
	walk(func(words []string, c *ucli.Command) {
		if len(c.Subcommands) > 0 {
			return // made of those of its parts
		}
		for _, m := range flag.FindAllStringSubmatch(quoted.ReplaceAllString(c.UsageText, "X"), -1) {
			assert.True(t, slices.ContainsFunc(c.Flags, func(f ucli.Flag) bool { return slices.Contains(f.Names(), m[1]) }), "%v has no flag --%s", words, m[1])
		}
	})
}

// --help works for every command, needs no farm, and holds the examples and
// every flag.
func TestHelp(t *testing.T) {
	walk(func(words []string, c *ucli.Command) {
		for _, last := range []string{"--help", "-h"} {
			code, out, errs := play(t, append(slices.Clone(words), last)...)
			name := "leafturn " + strings.Join(words, " ")
			require.Equal(t, diag.CodeDone, code, "%s %s: %s", name, last, errs)
			require.Empty(t, errs)
			assert.Contains(t, out, "   "+name+" - "+c.Usage+"\n")
			for _, line := range strings.Split(c.UsageText, "\n") {
				assert.Contains(t, out, "\n   "+line+"\n", "%s: the example stands on a line of its own", name)
			}
			for _, f := range c.Flags {
				assert.Contains(t, out, "--"+f.Names()[0], name)
			}
			for _, sub := range c.Subcommands {
				assert.Regexp(t, `(?m)^   `+sub.Name+` +\S`, out, name)
			}
		}
	})
	code, out, errs := play(t, "--help")
	require.Equal(t, diag.CodeDone, code)
	require.Empty(t, errs)
	walk(func(words []string, c *ucli.Command) {
		if len(words) == 1 {
			assert.Contains(t, out, "   "+c.Name+" ")
		}
	})
	assert.NotContains(t, out, "--now", "the clock flag is for tests")
}

// Errors go to the error stream, results to the other.
func TestUsageErrorsGoToErr(t *testing.T) {
	refused := func(words []string, want string) {
		t.Helper()
		code, out, errs := play(t, words...)
		assert.Equal(t, diag.CodeUsage, code, "%q", words)
		assert.Empty(t, out, "%q wrote to standard output", words)
		assert.True(t, strings.HasPrefix(errs, "leafturn: "), "%q: %q", words, errs)
		assert.Contains(t, errs, want, "%q", words)
	}
	walk(func(words []string, c *ucli.Command) {
		name := "leafturn " + strings.Join(words, " ")
		with := func(more ...string) []string { return append(slices.Clone(words), more...) }
		refused(with("--bogus"), "there is no flag --bogus\n  do: see what it takes with `"+name+" --help`")
		refused(with("word", "--bogus"), "there is no flag --bogus")
		if len(c.Subcommands) > 0 {
			refused(with("xyzzy"), `there is no command "xyzzy" in `+name)
			first := c.Subcommands[0].Name
			refused(with(first+"x"), `did you mean "`+first+`"?`)
		}
		for _, f := range c.Flags {
			long := "--" + f.Names()[0]
			if f.(ucli.DocGenerationFlag).TakesValue() {
				refused(with(long), "the flag "+long+" needs a value after it")
			} else {
				refused(with(long+"=perhaps"), "the flag "+long+" takes no value")
			}
			if len(f.Names()[0]) > 3 {
				refused(with(long+"x"), "did you mean \""+long+"\"?")
			}
		}
	})
	refused([]string{"--bogus"}, "there is no flag --bogus")
	refused([]string{"xyzzy"}, `there is no command "xyzzy" in leafturn`)
	refused([]string{"wek"}, `did you mean "week"?`)
	refused([]string{"week"}, "there is no store at")
	refused([]string{"week", "extra"}, `week does not take "extra"`)
}

// A command that takes no words refuses them before it looks for a farm; one
// that needs words says which.
func TestWords(t *testing.T) {
	for _, c := range []struct{ typed, want string }{
		{"due x", `due does not take "x"`},
		{"covers x", `covers does not take "x"`},
		{"check x", `check does not take "x"`},
		{"demo x", `demo does not take "x"`},
		{"weather x", `weather does not take "x"`},
		{"farm new x", `farm new does not take "x"`},
		{"farm set x", `farm set does not take "x"`},
		{"farm show x", `farm show does not take "x"`},
		{"bed list x", `bed list does not take "x"`},
		{"label list x", `label list does not take "x"`},
		{"label template x y", `label template does not take "y"`},
		{"pest slug mite", `pest does not take "mite"`},
		{"plot slug mite", `plot does not take "mite"`},
		{"why 1 2 3", `why does not take "3"`},
		{"why", "why needs NUMBER, or BED PEST"},
		{"visits a b c d", `visits does not take "c d"`},
		{"threshold list a b", `threshold list does not take "b"`},
		{"threshold set slug act", "threshold set needs PEST watch|act VALUE"},
		{"bed add", "bed add needs CODE"},
		{"bed add B3 B4", `bed add does not take "B4"`},
		{"bed import", "bed import needs FILE"},
		{"label add", "label add needs FILE"},
		{"label show", "label show needs LABEL"},
		{"treat bait", "treat needs LABEL BED..."},
		{"release agent", "release needs AGENT BED..."},
		{"did slug step", "did needs PEST STEP BED..."},
		{"flowers none", "flowers needs none|open BED..."},
		{"stage bloom", "stage needs STAGE BED..."},
		{"estimate B3", "estimate needs BED PEST"},
		{"estimate --counts", "estimate needs --counts NUMBERS..."},
		{"void visit", "void needs KIND NUMBER"},
		{"backup", "backup needs FILE"},
		{"count", "give either one line of counts or --file"},
	} {
		code, out, errs := play(t, strings.Fields(c.typed)...)
		assert.Equal(t, diag.CodeUsage, code, c.typed)
		assert.Empty(t, out, c.typed)
		assert.Contains(t, errs, "leafturn: "+c.want, c.typed)
		assert.Contains(t, errs, "\n  do: ", c.typed)
		assert.NotContains(t, errs, " `; ", "no blank before the closing mark: %s", c.typed)
	}
}

// Every command is played by a script: one that nobody wrote is named here.
func TestEveryCommandHasAScript(t *testing.T) {
	names, err := filepath.Glob("../../testdata/script/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	var all strings.Builder
	for _, name := range names {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		all.Write(text)
		all.WriteString("\n")
	}
	walk(func(words []string, c *ucli.Command) {
		if len(c.Subcommands) > 0 {
			return
		}
		line := regexp.MustCompile(`(?m)^(lt|leafturn)( --\S+ \S+)* ` + strings.Join(words, " ") + `( |$)`)
		assert.True(t, line.MatchString(all.String()), "no script does `leafturn %s`", strings.Join(words, " "))
		for _, f := range c.Flags {
			if name := f.Names()[0]; name != "json" {
				used := regexp.MustCompile(`(?m)^(refuses \d )?(lt|leafturn|nobody)( --\S+ \S+)* ` + words[0] + ` .*--?(` + strings.Join(f.Names(), "|") + `)( |$)`)
				assert.True(t, used.MatchString(all.String()), "no script gives --%s to `leafturn %s`", name, strings.Join(words, " "))
			}
		}
	})
}

// Every command that tells or stores something takes --json; those that draw,
// print or write a file to fill in do not.
func TestEveryCommandHasJSON(t *testing.T) {
	without := map[string]bool{"demo": true, "plot": true, "label template": true, "print week": true, "print round": true, "print notice": true, "print season": true, "print next-year": true}
	walk(func(words []string, c *ucli.Command) {
		if len(c.Subcommands) > 0 {
			return
		}
		has := false
		for _, f := range c.Flags {
			has = has || f.Names()[0] == "json"
		}
		name := strings.Join(words, " ")
		assert.Equal(t, !without[name], has, name)
		delete(without, name)
	})
	assert.Empty(t, without)
}
