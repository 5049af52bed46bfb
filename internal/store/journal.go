package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"leafturn/internal/diag"
)

// ErrNothing is told when there is no change to take back, or none to bring
// back.
var ErrNothing = errors.New("store: nothing to take back")

// Command is what the journal says of a command that writes.
type Command struct {
	Words string    // as it was typed
	Actor string    // who typed it; "" is not known
	At    time.Time // when; zero: when its first record was entered
}

// What a change is, in the journal's words.
const (
	whatCommand  = "command"
	whatMade     = "made"
	whatTold     = "told"
	whatAccepted = "accepted"
	whatUndo     = "undo"
	whatRedo     = "redo"

	stepVoid     = "void"
	stepAmend    = "amend"
	stepDescribe = "describe"
	stepVersion  = "version"
)

// TakenBack begins the reason for which a record no longer counts after undo.
const TakenBack = "taken back: "

// Amended begins the reason for which a record no longer counts once another
// took its place.
const Amended = "amended: "

// step is a row of change_step.
type step struct {
	Kind    Kind    `db:"kind"`
	Item    string  `db:"item"`
	What    string  `db:"what"`
	Reason  string  `db:"reason"`
	Instead *int64  `db:"instead"`
	Was     *string `db:"was"`
	Became  *string `db:"became"`
}

// span is a range of record numbers, both ends included.
type span struct {
	Kind Kind  `db:"kind"`
	Low  int64 `db:"low"`
	High int64 `db:"high"`
}

// journal gathers what a transaction does, until its commit.
type journal struct {
	Command
	made, told bool
	accepted   bool  // steps say what
	quiet      bool  // undo and redo write their own row
	change     int64 // the number of its row
	added      []span
	steps      []step
}

// add notes records that were stored with consecutive numbers.
func (j *journal) add(kind Kind, low, high int64) {
	for i := range j.added {
		if s := &j.added[i]; s.Kind == kind && s.High+1 == low {
			s.High = high
			return
		}
	}
	j.added = append(j.added, span{kind, low, high})
}

func (j *journal) step(s step) { j.steps = append(j.steps, s) }

// newest is the instant at which the newest record was entered or the newest
// command given, as far as the last record of each kind tells.
func (t *Tx) newest() (time.Time, error) {
	query := "SELECT max(at) AS at FROM change_set"
	for _, k := range Kinds {
		table := kinds[k].table
		query += " UNION ALL SELECT entered_at FROM " + table + " WHERE id = (SELECT max(id) FROM " + table + ")"
	}
	var at utc
	_, err := t.get(&at, "SELECT max(at) FROM ("+query+")")
	return at.Time, err
}

func (j *journal) empty() bool { return len(j.added) == 0 && len(j.steps) == 0 && !j.told && !j.made }

// Range is records of one kind with consecutive numbers, both ends included.
type Range struct {
	Kind        Kind
	First, Last int64
}

// Wrote is what one transaction wrote, by its row in the journal.
type Wrote struct {
	Change int64
	Added  []Range
}

func (j *journal) ranges() []Range {
	out := make([]Range, len(j.added))
	for i, s := range j.added {
		out[i] = Range{s.Kind, s.Low, s.High}
	}
	return out
}

// Wrote returns what was written through this open store, in order.
func (s *Store) Wrote() []Wrote {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.wrote)
}

// AddedMany notes records of one kind that were stored with consecutive
// numbers by other ways than this type's methods.
func (t *Tx) AddedMany(kind Kind, low, high int64) {
	t.log.add(kind, low, high)
}

// describe notes how a bed or the farm was described and is now; nil is "not
// there".
func (t *Tx) describe(kind Kind, id int64, was, became any) error {
	text := func(v any) (*string, error) {
		if v == nil {
			return nil, nil
		}
		b, err := json.Marshal(v)
		return new(string(b)), err
	}
	before, err := text(was)
	if err != nil {
		return t.fail("journal", err)
	}
	after, err := text(became)
	if err != nil {
		return t.fail("journal", err)
	}
	t.log.step(step{Kind: kind, Item: strconv.FormatInt(id, 10), What: stepDescribe, Was: before, Became: after})
	return nil
}

// writeJournal stores what the transaction did, just before its commit.
func (t *Tx) writeJournal() error {
	j := &t.log
	if j.quiet || j.empty() {
		return nil
	}
	what := whatCommand
	switch {
	case j.made:
		what = whatMade
	case j.accepted:
		what = whatAccepted
	case len(j.added) == 0 && len(j.steps) == 0:
		what = whatTold
	}
	_, err := t.writeChange(what, nil)
	return err
}

func (t *Tx) writeChange(what string, about *int64) (int64, error) {
	j := &t.log
	id, err := t.insert("change_set", "at, command, actor, what, about", optInstant(j.At), j.Words, j.Actor, what, about)
	if err != nil {
		return 0, t.fail("journal", err)
	}
	j.change = id
	for _, s := range j.added {
		if _, err := t.insert("change_added", "change_id, kind, low, high", id, string(s.Kind), s.Low, s.High); err != nil {
			return 0, t.fail("journal", err)
		}
	}
	for i, s := range j.steps {
		if s.What == stepAmend && s.Instead == nil {
			return 0, t.fail("journal", fmt.Errorf("%s record %s was taken out and nothing put in its place", s.Kind, s.Item))
		}
		if _, err := t.insert("change_step", "change_id, seq, kind, item, what, reason, instead, was, became", id, i+1, string(s.Kind), s.Item, s.What, s.Reason, s.Instead, s.Was, s.Became); err != nil {
			return 0, t.fail("journal", err)
		}
	}
	return id, nil
}

// Replace takes a record out, with a reason, for another that f stores in its
// place and whose number f returns. The old one stays and the journal joins the
// two. Errors: ErrNotFound, ErrVoided.
func (t *Tx) Replace(kind Kind, id int64, reason string, at time.Time, f func() (int64, error)) error {
	if err := entered(at); err != nil {
		return err
	}
	k, ok := kinds[kind]
	if !ok {
		return unknownKind(kind)
	}
	if reason == "" {
		return invalid("%s record %d: a reason is needed to amend it", kind, id)
	}
	if err := t.void(k, kind, id, Amended+reason, at); err != nil {
		return err
	}
	n := len(t.log.steps)
	t.log.step(step{Kind: kind, Item: strconv.FormatInt(id, 10), What: stepAmend, Reason: reason})
	instead, err := f()
	if err != nil {
		if t.broken == nil {
			t.broken = err // the old one is out, so no commit may follow
		}
		return err
	}
	t.log.steps[n].Instead = &instead
	return nil
}

// LastAdded returns the numbers of the records of a kind that this transaction
// stored, in order.
func (t *Tx) LastAdded(kind Kind) []int64 {
	var out []int64
	for _, s := range t.log.added {
		for id := s.Low; s.Kind == kind && id <= s.High; id++ {
			out = append(out, id)
		}
	}
	return out
}

// Change is one command of the journal.
type Change struct {
	ID      int64
	At      time.Time // zero: not known
	Command string
	Actor   string
	What    string // command, made, told, accepted, undo or redo
	About   int64  // the change that an undo or redo is about
	Undone  bool   // it was taken back and does not stand
	Added   map[Kind]int
	Ranges  []Range      // the numbers of what was added
	Voided  map[Kind]int // without those that were amended
	Amended map[Kind]int
	Made    []string // what was not there before: "bed B3", "label ironbait version 2"
	Set     []string // what was described anew: "farm", "bed B3"
	Copies  []string // where a record was accepted that differed from its second copy
}

type changeRow struct {
	ID      int64  `db:"id"`
	At      utc    `db:"at"`
	Command string `db:"command"`
	Actor   string `db:"actor"`
	What    string `db:"what"`
	About   *int64 `db:"about"`
	Undone  bool   `db:"undone"`
}

// undone tells in SQL whether the last that was done about a change was an undo.
func undone(alias string) string {
	return "ifnull((SELECT u.what FROM change_set u WHERE u.about = " + alias + ".id ORDER BY u.id DESC LIMIT 1) = 'undo', 0)"
}

var changeCols = "c.id, c.at, c.command, c.actor, c.what, c.about, " + undone("c") + " AS undone"

// Changes returns the last n changes, the latest first; n < 1 is all of them.
func (t *Tx) Changes(n int) ([]Change, error) {
	if n < 1 {
		n = -1
	}
	return t.changes("SELECT "+changeCols+" FROM change_set c ORDER BY c.id DESC LIMIT ?", n)
}

func (t *Tx) changes(query string, args ...any) ([]Change, error) {
	var rows []changeRow
	if err := t.query(&rows, query, args...); err != nil {
		return nil, err
	}
	out := make([]Change, len(rows))
	for i, r := range rows {
		c := r.change()
		c.Added, c.Voided, c.Amended = map[Kind]int{}, map[Kind]int{}, map[Kind]int{}
		added, steps, err := t.content(r.ID)
		if err != nil {
			return nil, err
		}
		for _, s := range added {
			c.Added[s.Kind] += int(s.High - s.Low + 1)
			c.Ranges = append(c.Ranges, Range{s.Kind, s.Low, s.High})
		}
		for _, s := range steps {
			switch s.What {
			case stepVoid:
				c.Voided[s.Kind]++
			case stepAmend:
				c.Amended[s.Kind]++
			case stepVersion:
				c.Made = append(c.Made, fmt.Sprintf("label %s version %d", s.Item, *s.Instead))
			case stepDescribe:
				if s.Kind == kindCopy {
					c.Copies = append(c.Copies, s.Reason)
					continue
				}
				what, list := string(s.Kind), &c.Set
				if r, err := bedOfStep(s); err == nil && s.Kind == KindBed {
					what += " " + r.Code
				}
				if s.Was == nil {
					list = &c.Made
				}
				if !slices.Contains(*list, what) {
					*list = append(*list, what)
				}
			}
		}
		out[i] = c
	}
	return out, nil
}

// bedOfStep is the row of the bed that a step describes.
func bedOfStep(s step) (r bedRow, err error) {
	text := s.Became
	if text == nil {
		text = s.Was
	}
	if text == nil {
		return r, errors.New("no description")
	}
	return r, json.Unmarshal([]byte(*text), &r)
}

func (t *Tx) content(change int64) (added []span, steps []step, err error) {
	if err := t.query(&added, "SELECT kind, low, high FROM change_added WHERE change_id = ? ORDER BY kind, low", change); err != nil {
		return nil, nil, err
	}
	err = t.query(&steps, "SELECT kind, item, what, reason, instead, was, became FROM change_step WHERE change_id = ? ORDER BY seq", change)
	return added, steps, err
}

// Undo takes back all that the last command which still stands did, and
// returns it. What it stored no longer counts, what it took out counts again,
// what it described is as it was before. Taking back once more goes one command
// further. Nothing is erased: the journal holds both.
func (t *Tx) Undo(c Command) (Change, error) {
	return t.turn(c, whatUndo, "SELECT "+changeCols+" FROM change_set c WHERE c.what = 'command' AND NOT "+undone("c")+" ORDER BY c.id DESC LIMIT 1",
		"there is nothing to take back: no command that wrote stands in the journal", "see `leafturn history`; a single record is taken out with `leafturn void`")
}

// Redo brings back the command that was taken back last, unless another has
// written since.
func (t *Tx) Redo(c Command) (Change, error) {
	return t.turn(c, whatRedo, "SELECT "+changeCols+" FROM change_set c WHERE c.what = 'command' AND "+undone("c")+`
AND (SELECT max(u.id) FROM change_set u WHERE u.about = c.id) > (SELECT max(s.id) FROM change_set s WHERE s.what = 'command') ORDER BY c.id LIMIT 1`,
		"there is nothing to bring back: no command was taken back, or another has written since", "see `leafturn history`, and enter it again")
}

func (t *Tx) turn(c Command, what, query, none, do string) (Change, error) {
	if err := entered(c.At); err != nil {
		return Change{}, err
	}
	if !t.log.empty() {
		return Change{}, errors.New("store: undo in a transaction that has written")
	}
	found, err := t.changes(query)
	if err != nil {
		return Change{}, err
	}
	if len(found) == 0 {
		return Change{}, &diag.Problem{What: none, Do: do, Kept: keptNothing, Err: ErrNothing}
	}
	ch := found[0]
	added, steps, err := t.content(ch.ID)
	if err != nil {
		return Change{}, err
	}
	t.log.Command = c
	if _, err := t.writeChange(what, &ch.ID); err != nil {
		return Change{}, err
	}
	t.log.quiet = true
	if what == whatUndo {
		err = t.takeBack(ch, added, steps, c.At)
	} else {
		err = t.bringBack(added, steps, c.At)
	}
	if err != nil {
		return Change{}, err
	}
	t.beds = nil
	ch.Undone = what == whatUndo
	return ch, nil
}

// ownVoid reports whether a step took out a record that the same change added.
func ownVoid(added []span, s step) bool {
	id, err := strconv.ParseInt(s.Item, 10, 64)
	return err == nil && slices.ContainsFunc(added, func(a span) bool { return a.Kind == s.Kind && a.Low <= id && id <= a.High })
}

// takeBack takes out first and puts back then: of two records that cannot both
// count never both do.
func (t *Tx) takeBack(ch Change, added []span, steps []step, at time.Time) error {
	reason := TakenBack + ch.Command
	if ch.Command == "" {
		reason = TakenBack + "change " + strconv.FormatInt(ch.ID, 10)
	}
	for _, s := range added {
		if err := t.change("UPDATE "+kinds[s.Kind].table+" SET voided_at = ?, void_reason = ? WHERE id BETWEEN ? AND ? AND voided_at IS NULL", instant(at), reason, s.Low, s.High); err != nil {
			return err
		}
	}
	for _, s := range slices.Backward(steps) {
		var err error
		switch s.What {
		case stepVoid, stepAmend:
			if !ownVoid(added, s) {
				err = t.change("UPDATE "+kinds[s.Kind].table+" SET voided_at = NULL, void_reason = NULL WHERE id = ?", s.Item)
			}
		case stepVersion:
			err = t.change("UPDATE label SET gone = 1 WHERE key = ? AND version = ?", s.Item, *s.Instead)
		case stepDescribe:
			err = t.put(s, s.Was)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// bringBack does again what takeBack undid.
func (t *Tx) bringBack(added []span, steps []step, at time.Time) error {
	for _, s := range steps {
		var err error
		switch s.What {
		case stepVoid, stepAmend:
			reason := s.Reason
			if s.What == stepAmend {
				reason = Amended + reason
			}
			if !ownVoid(added, s) {
				err = t.change("UPDATE "+kinds[s.Kind].table+" SET voided_at = ?, void_reason = ? WHERE id = ?", instant(at), reason, s.Item)
			}
		case stepVersion:
			err = t.change("UPDATE label SET gone = 0 WHERE key = ? AND version = ?", s.Item, *s.Instead)
		case stepDescribe:
			err = t.put(s, s.Became)
		}
		if err != nil {
			return err
		}
	}
	for _, s := range added {
		own := []any{s.Low, s.High}
		query := "UPDATE " + kinds[s.Kind].table + " SET voided_at = NULL, void_reason = NULL WHERE id BETWEEN ? AND ?"
		for _, x := range steps {
			if (x.What == stepVoid || x.What == stepAmend) && x.Kind == s.Kind && ownVoid([]span{s}, x) {
				query += " AND id <> ?"
				own = append(own, x.Item)
			}
		}
		if err := t.change(query, own...); err != nil {
			return err
		}
	}
	return nil
}

// put makes the farm or a bed what the journal says of it.
func (t *Tx) put(s step, text *string) error {
	if s.Kind == kindFarm {
		if text == nil {
			return t.fail("undo", errors.New("the farm cannot be taken away"))
		}
		var r farmRow
		if err := json.Unmarshal([]byte(*text), &r); err != nil {
			return t.fail("undo", damaged(t.s.path, err))
		}
		return t.putFarm(r)
	}
	if text == nil {
		return t.change("UPDATE bed SET gone = 1 WHERE id = ?", s.Item)
	}
	var r bedRow
	if err := json.Unmarshal([]byte(*text), &r); err != nil {
		return t.fail("undo", damaged(t.s.path, err))
	}
	return t.putBed(r)
}

// change runs a statement whose failure spoils the transaction.
func (t *Tx) change(query string, args ...any) error {
	if err := t.flush(); err != nil {
		return err
	}
	if _, _, err := t.exec(query, args...); err != nil {
		return t.fail("undo", err)
	}
	return nil
}
