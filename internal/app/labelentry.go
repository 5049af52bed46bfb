package app

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// labelDraft is the label's latest version to change, or an empty one under a
// new key.
func (a *App) labelDraft(ctx context.Context, key string) (farm.Label, error) {
	l, _, err := a.labelFor(ctx, key)
	if err == nil || l.Key != "" {
		return l, err
	}
	l = farm.Label{}
	if bad := ingest.SetLabelKey(&l, key); bad != nil {
		return l, asUsage(bad)
	}
	return l, nil
}

// LabelText is the label's latest version as the file that `label add` reads.
func (a *App) LabelText(ctx context.Context, key string) (string, error) {
	l, _, err := a.labelFor(ctx, key)
	if err != nil {
		return "", err
	}
	return strings.TrimRight(ingest.FormatLabel(l), "\n"), nil
}

// SetLabel changes fields of a label, each as FIELD=VALUE, and stores the next
// version: all of them or none.
func (a *App) SetLabel(ctx context.Context, key string, fields []string, day civil.Date, check bool) (Said, error) {
	l, err := a.labelDraft(ctx, key)
	if err != nil {
		return Said{}, err
	}
	if begins := slices.ContainsFunc(fields, func(f string) bool { return strings.HasPrefix(strings.TrimSpace(f), "product=") }); l.Product == "" && !begins {
		_, _, err := a.labelFor(ctx, key) // a slip in the name rather than a new label
		return Said{}, err
	}
	var problems diag.List
	set := map[string]bool{}
	for _, f := range fields {
		name, value, ok := strings.Cut(f, "=")
		if !ok {
			problems.Add(diag.Usagef(`write FIELD=VALUE, such as rei="4 hours"`, "%q sets nothing", f))
			continue
		}
		if name = strings.TrimSpace(name); set[name] {
			problems.Add(diag.Usagef("keep one of the two", "%s: it is set twice", name))
			continue
		}
		set[name] = true
		if bad := ingest.SetLabelField(&l, strings.TrimSpace(name), value, a.names); bad != nil {
			problems.Add(inField(bad, name))
		}
	}
	if err := problems.Err(); err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	return a.checkedLabel(ctx, l, day, check)
}

// inField says which field of a label a problem is in.
func inField(bad *diag.Problem, field string) *diag.Problem {
	p := *bad
	p.What, p.Usage = strings.TrimSpace(field)+": "+p.What, true
	return &p
}

// checkedLabel reads the label as a whole, as from a file, and stores it.
func (a *App) checkedLabel(ctx context.Context, l farm.Label, day civil.Date, check bool) (Said, error) {
	l.Version, l.Entered = 0, civil.Date{}
	whole, err := ingest.ParseLabel(strings.NewReader(ingest.FormatLabel(l)), "label "+l.Key, a.names, civil.Date{})
	if err != nil {
		return Said{}, kept(asUsage(err), "nothing was stored; the rows are those of `leafturn label template "+l.Key+"`")
	}
	return a.storeLabel(ctx, whole, "label "+l.Key, day, check)
}

// AskLabel asks for a label question by question on in and out, and stores it
// when the person says so at the end. An empty answer keeps what stands there;
// a wrong one is asked again.
func (a *App) AskLabel(ctx context.Context, key string, day civil.Date, in io.Reader, out io.Writer) (Said, error) {
	l, err := a.labelDraft(ctx, key)
	if err != nil {
		return Said{}, err
	}
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, 1<<20)
	read := func() (string, bool) {
		if !lines.Scan() {
			return "", false
		}
		return strings.TrimSpace(lines.Text()), true
	}
	fmt.Fprintf(out, "The label %s. The label on the container and local law outrank this copy.\n"+
		"Enter keeps what stands there. \"none stated\": read, and it says nothing. \"blank\": not\n"+
		"read. \"?\": what is asked. \"stop\": to the end. Items of a list: with commas.\n", key)
	for {
		if err := askFields(&l, a.names, read, lines.Err, out); err != nil {
			return Said{}, err
		}
		fmt.Fprint(out, "\nstore it? yes or no: ")
		answer, _ := read()
		fmt.Fprintln(out)
		if word := strings.ToLower(answer); word != "yes" && word != "y" {
			return Said{Said: "nothing was stored"}, nil
		}
		said, err := a.checkedLabel(ctx, l, day, false)
		if err == nil || diag.Code(err) != 2 {
			return said, err
		}
		// The answers are kept: only what does not fit is given anew.
		fmt.Fprintf(out, "%v\nNothing is stored yet. Once more from the beginning: Enter keeps what stands there.\n", err)
	}
}

// askFields asks for every field of a label until all are asked or the person
// stops.
func askFields(l *farm.Label, names ingest.PestNames, read func() (string, bool), readErr func() error, out io.Writer) error {
	stopped := false
	for i := 0; !stopped; i++ {
		questions := ingest.LabelQuestions(*l)
		if i >= len(questions) {
			break
		}
		q := questions[i]
		if q.Section != "" {
			fmt.Fprintf(out, "\n%s\n", q.Section)
		}
		now := q.Now
		if now == "" {
			now = "unknown"
		}
		fmt.Fprintf(out, "%s [%s]: ", strings.ReplaceAll(q.Key, "_", " "), now)
	again:
		for {
			answer, ok := read()
			switch {
			case !ok:
				return diag.Failf(readErr(), "answer to the end, or write stop", "the answers ended at %q; nothing was stored", q.Key)
			case answer == "":
				break again
			case answer == "stop":
				stopped = true
				break again
			case answer == "?":
				fmt.Fprintf(out, "%s\n", q.Help)
				if q.Example != "" {
					fmt.Fprintf(out, "Invented example: %s\n", q.Example)
				}
			default:
				text := answer
				if answer == "blank" {
					text = ""
				}
				bad := ingest.SetLabelField(l, q.Key, text, names)
				if bad == nil {
					break again
				}
				fmt.Fprintf(out, "  %s\n", bad.What)
				if bad.Do != "" {
					fmt.Fprintf(out, "  do: %s\n", bad.Do)
				}
			}
			fmt.Fprintf(out, "%s [%s]: ", strings.ReplaceAll(q.Key, "_", " "), now)
		}
	}
	return nil
}
