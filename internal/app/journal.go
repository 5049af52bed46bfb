package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// farmFile is the store as the use cases see it. What one of them writes goes
// into the journal under the command that was typed. Inside an amendment, tx is
// the transaction in which all of it happens.
type farmFile struct {
	*store.Store
	command store.Command
	tx      *store.Tx
}

// View reads one state of the store.
func (f *farmFile) View(ctx context.Context, do func(*store.Tx) error) error {
	if f.tx != nil {
		return do(f.tx)
	}
	return f.Store.View(ctx, do)
}

// Update writes all that do does, or nothing.
func (f *farmFile) Update(ctx context.Context, do func(*store.Tx) error) error {
	if f.tx != nil {
		return do(f.tx)
	}
	return f.UpdateAs(ctx, f.command, do)
}

// Bulk is Update for very many visits.
func (f *farmFile) Bulk(ctx context.Context, do func(*store.Tx) error) error {
	if f.tx != nil {
		return do(f.tx)
	}
	return f.BulkAs(ctx, f.command, do)
}

// As names the command that the journal keeps, and who typed it.
func (a *App) As(command, actor string) {
	a.st.command = store.Command{Words: command, Actor: actor, At: a.now}
}

// ClockNote says that this command stored something at an instant before the
// newest record, or "".
func (a *App) ClockNote() string {
	at := a.st.Ahead()
	if at.IsZero() {
		return ""
	}
	return fmt.Sprintf("this computer's clock says %s, and the newest record was entered on %s: set the clock if it is wrong; `leafturn doctor` tells more",
		a.now.In(a.loc).Format("2 Jan 2006 15:04"), at.In(a.loc).Format("2 Jan 2006 15:04"))
}

// TurnData is what undo or redo did, as JSON: Change is the one that was taken
// back or brought back.
type TurnData struct {
	What    string   `json:"what"`
	Change  int64    `json:"change"`
	Command string   `json:"command"`
	At      string   `json:"at"`
	By      string   `json:"by"`
	Did     []string `json:"did"`
}

// Undo takes back all that the last command did that still stands.
func (a *App) Undo(ctx context.Context) (*report.Document, string, error) {
	return a.turn(ctx, (*store.Tx).Undo, "taken back", "`leafturn redo` brings it back", map[string]string{
		"added": "no longer counted", "voided": "counted again", "made": "is not there any more", "set": "is as it was before"})
}

// Redo brings back what was taken back last.
func (a *App) Redo(ctx context.Context) (*report.Document, string, error) {
	return a.turn(ctx, (*store.Tx).Redo, "brought back", "`leafturn undo` takes it back again", map[string]string{
		"added": "counted again", "voided": "no longer counted", "made": "is there again", "set": "is as the command left it"})
}

func (a *App) turn(ctx context.Context, do func(*store.Tx, store.Command) (store.Change, error), done, next string, words map[string]string) (*report.Document, string, error) {
	var c store.Change
	err := a.st.Update(ctx, func(tx *store.Tx) (err error) { c, err = do(tx, a.st.command); return err })
	if err != nil {
		return nil, "", err
	}
	a.memory = memory{} // records count again that were read as gone
	if err := a.load(ctx); err != nil {
		return nil, "", err
	}
	data := TurnData{What: done, Change: c.ID, Command: c.Command, At: stamp(c.At, a.loc), By: c.Actor, Did: append([]string{}, changeLines(c, words)...)}
	said := done + ": " + commandWords(c)
	if !c.At.IsZero() {
		said += ", of " + c.At.In(a.loc).Format("2 Jan 2006 15:04")
	}
	for _, l := range data.Did {
		said += "\n" + l
	}
	doc := a.document("Journal", a.Today())
	doc.Data = data
	return doc, said + "\nnothing is erased: `leafturn history` shows both; " + next, nil
}

// commandWords is a change by the command that made it.
func commandWords(c store.Change) string {
	if c.Command == "" {
		return fmt.Sprintf("change %d", c.ID)
	}
	return "leafturn " + c.Command
}

// changeLines says what a change did, kind by kind, in the words for what
// became of it.
func changeLines(c store.Change, words map[string]string) []string {
	var out []string
	of := func(kinds map[store.Kind]int, what string) {
		for _, k := range store.Kinds {
			if n := kinds[k]; n > 0 {
				out = append(out, unitsOf(n, recordWord(k))+" "+what)
			}
		}
	}
	of(c.Added, words["added"])
	of(c.Amended, words["voided"])
	of(c.Voided, words["voided"])
	for _, s := range c.Made {
		out = append(out, s+" "+words["made"])
	}
	for _, s := range c.Set {
		out = append(out, s+" "+words["set"])
	}
	return out
}

// recordWord is a kind of record in words that take an s in the plural.
func recordWord(k store.Kind) string {
	switch k {
	case store.KindDone:
		return "done step"
	case store.KindWeather:
		return "weather record"
	case store.KindOverride:
		return "own level"
	}
	return string(k)
}

// recordKind reads a kind of record that a person typed; also are other words
// that may stand there.
func recordKind(word string, also ...string) (store.Kind, error) {
	k := store.Kind(strings.ToLower(word))
	if k == "threshold" { // as the command is called that makes them
		k = store.KindOverride
	}
	if !slices.Contains(recordKinds, k) {
		var known []string
		for _, x := range recordKinds {
			known = append(known, string(x))
		}
		known = append(known, also...)
		return "", diag.Usagef("one of: "+strings.Join(known, ", "), "there is no kind of record %q%s", word, diag.DidYouMean(word, known))
	}
	return k, nil
}
