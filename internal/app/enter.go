package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// Said is what a command that stores something says: Said to the grower, and
// warnings apart.
type Said struct {
	Said     string
	Warnings []string
}

// CountOptions are the flags of `count`.
type CountOptions struct {
	Date     civil.Date
	Observer string
	Check    bool
}

func (a *App) notesOptions(o CountOptions) ingest.Options {
	return ingest.Options{Today: a.Today(), Date: o.Date, Observer: o.Observer, Names: a.names}
}

// CountWords stores one line of counts given as words.
func (a *App) CountWords(ctx context.Context, words []string, o CountOptions) (string, error) {
	if err := a.happened(ctx, "--date", o.Date); err != nil {
		return "", err
	}
	v, err := ingest.ParseWords(words, a.notesOptions(o))
	if err != nil {
		return "", kept(asUsage(err), "nothing was stored")
	}
	if o.Check {
		return "reads well: " + ingest.FormatNoteIn(v, a.farm.Units) + a.outlierWords(v), nil
	}
	var id int64
	err = a.st.Update(ctx, func(tx *store.Tx) (err error) { id, err = tx.AddVisit(v, a.now); return err })
	if err != nil {
		return "", duplicateVisit(err, v)
	}
	return fmt.Sprintf("stored visit %d: %s", id, a.visitWords(v)) + a.outlierWords(v) + a.closedNote(ctx, v.Date, []string{v.Bed}), nil
}

func (a *App) future(what string, d civil.Date) error {
	return diag.Usagef("give today or an earlier day", "%s %s lies in the future: today is %s on the farm", what, d, a.Today())
}

// visitWords says a visit in a line: where, what, how many units.
func (a *App) visitWords(v farm.Visit) string {
	pest, _ := a.cat.Pest(v.Pest)
	s := fmt.Sprintf("%s, %s, %s: ", v.Bed, pest.Name, a.dayOf(v.Date))
	proto, _ := a.cat.Protocol(v.Pest, v.Unit)
	var parts []string
	if seen := v.Seen(); len(seen) > 0 {
		total := 0
		for _, c := range seen {
			total += c
		}
		parts = append(parts, fmt.Sprintf("%d on %d %s", total, len(seen), unitPlural(proto.UnitLabel, len(seen))))
		if lost := len(v.Counts) - len(seen); lost > 0 {
			parts = append(parts, fmt.Sprintf("%d not looked at", lost))
		}
	}
	if p := v.Presence; p != nil {
		parts = append(parts, fmt.Sprintf("%d of %d %s", p.Infested, p.Looked, unitPlural(proto.UnitLabel, p.Looked)))
	}
	return s + strings.Join(parts, ", ")
}

// outlierWords warns where one unit is far above the others, "" where none is.
func (a *App) outlierWords(v farm.Visit) string {
	p, ok := a.cat.Protocol(v.Pest, v.Unit)
	if !ok || p.Presence || v.Stratum == farm.HotSpot {
		return ""
	}
	i, err := estimate.Outlier(v.Seen(), a.unitFacts(p).Dispersed)
	if err != nil || i == 0 {
		return ""
	}
	return fmt.Sprintf("\n%s %s: %s; a slip is put right with `leafturn void visit`, a hot spot gets a line of its own with the word hotspot", v.Bed, v.Pest, week.OutlierWords(i, v.Seen()[i-1]))
}

// unitPlural is the words for n sample units.
func unitPlural(label string, n int) string { return assess.Plural(label, n) }

// duplicateVisit says how to replace a visit that is already there.
func duplicateVisit(err error, v farm.Visit) error {
	var d *store.DuplicateError
	if !errors.As(err, &d) {
		return err
	}
	return &diag.Problem{
		What: fmt.Sprintf("%s %s of %s was already counted by %s: visit %d", v.Bed, v.Pest, v.Date, v.Unit, d.ID),
		Do:   fmt.Sprintf("if it was wrong: `leafturn void visit %d --reason \"...\"`, then enter it again", d.ID),
		Kept: "nothing new was stored; the first count stands",
		Err:  err,
	}
}

// CountFile stores the lines of a notes file, all of them or none.
func (a *App) CountFile(ctx context.Context, r io.Reader, file string, o CountOptions) (string, error) {
	if err := a.happened(ctx, "--date", o.Date); err != nil {
		return "", err
	}
	notes, sum, err := ingest.ReadNotes(r, file, a.notesOptions(o))
	if err != nil {
		words := "nothing from this file was stored"
		switch {
		case sum.Visits == 1:
			words += "; the other line reads well"
		case sum.Visits > 1:
			words += fmt.Sprintf("; the other %d lines read well", sum.Visits)
		}
		return "", kept(err, words)
	}
	days := make([]dayAt, len(notes))
	for i, n := range notes {
		days[i] = dayAt{n.Visit.Date, n.Row}
	}
	if err := a.notLongAgoIn(ctx, file, days); err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	var far strings.Builder
	for _, n := range notes {
		far.WriteString(a.outlierWords(n.Visit))
	}
	if o.Check {
		return fmt.Sprintf("%s reads well: %s with %s; nothing was stored", file, unitsOf(sum.Visits, "visit"), unitsOf(sum.Units, "unit")) + far.String(), nil
	}
	var first, last int64
	var problems diag.List
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, n := range notes {
			id, err := tx.AddVisit(n.Visit, a.now)
			if errors.Is(err, store.ErrDuplicate) {
				p := &diag.Problem{}
				errors.As(duplicateVisit(err, n.Visit), &p)
				problems.Add(&diag.Problem{File: file, Row: n.Row, Col: 1, What: p.What, Do: p.Do, Err: err})
				continue
			}
			if err != nil {
				return err
			}
			if first == 0 {
				first = id
			}
			last = id
		}
		return problems.Err()
	})
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	return fmt.Sprintf("stored %s (%d to %d) with %s from %s", unitsOf(len(notes), "visit"), first, last, unitsOf(sum.Units, "unit"), file) + far.String(), nil
}

// Did stores that steps were carried out.
func (a *App) Did(ctx context.Context, day civil.Date, pestWord, step string, bedWords []string, note string, more farm.DoneMore) (string, error) {
	pest, err := a.names.findPest(pestWord)
	if err != nil {
		return "", err
	}
	beds, err := a.names.findBeds(bedWords)
	if err != nil {
		return "", err
	}
	if err := a.happened(ctx, "--date", day); err != nil {
		return "", err
	}
	word := strings.ToLower(strings.ReplaceAll(step, "-", "_"))
	if word == farm.Confirmed || word == farm.NotConfirmed {
		return a.confirmed(ctx, day, pest, word, beds, note, more)
	}
	for _, k := range a.cat.Looks() {
		if k.Pest == pest.Key && (word == k.Fits || slices.Contains(k.Fails, word)) {
			return a.looked(ctx, day, pest, word, k.Days, beds, note, more)
		}
	}
	keys := []string{farm.Confirmed, "not-confirmed"}
	for _, k := range a.cat.Looks() {
		if k.Pest == pest.Key {
			keys = append(append(keys, k.Fits), k.Fails...)
		}
	}
	key := ""
	for _, x := range a.cat.Actions(pest.Key) {
		short := shortStep(x.Key)
		keys = append(keys, short)
		if word == x.Key || word == short {
			key = x.Key
		}
	}
	if key == "" {
		return "", diag.Usagef("one of: "+strings.Join(keys, ", "), "there is no step %q against %s%s", step, pest.Name, diag.DidYouMean(word, keys))
	}
	if i := slices.IndexFunc(a.cat.Actions(pest.Key), func(x catalog.Action) bool { return x.Key == key }); week.Rung(a.cat.Actions(pest.Key)[i].Rung) >= week.Product {
		return "", diag.Usagef("record it with its label, amount and end: `leafturn treat LABEL "+strings.Join(bedWords, " ")+" --pest "+pest.Key+" --amount AMOUNT --end TIME`",
			"%q is an application of a product", step)
	}
	var codes []string
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			if _, err := tx.AddDone(farm.Done{Bed: b.Code, Pest: pest.Key, Action: key, Date: day, Note: note, DoneMore: more}, a.now); err != nil {
				return err
			}
			codes = append(codes, b.Code)
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	return fmt.Sprintf("noted: %s against %s in %s on %s", shortStep(key), pest.Name, strings.Join(codes, ", "), a.dayOf(day)) + outcomeWords(more.Outcome) + a.careStep(pest.Key, key) + a.closedNote(ctx, day, codes), nil
}

// shortStep is a step's key without the word for the pest in front: the
// water_jet of mite_water_jet.
func shortStep(key string) string {
	if agent, ok := strings.CutPrefix(key, farm.Settled); ok {
		return "look whether " + agent + " has settled"
	}
	if _, rest, ok := strings.Cut(key, "_"); ok {
		return rest
	}
	return key
}

// Flowers notes whether anything is in flower in or beside beds: the flowers
// of the crop, of weeds, covers and strips. Labels with a bee statement need it.
func (a *App) Flowers(ctx context.Context, day civil.Date, word string, bedWords []string) (string, error) {
	word = strings.ToLower(word)
	if word != farm.FlowersNone && word != farm.FlowersOpen {
		return "", diag.Usagef("write none or open", "%q does not say whether flowers are open", word)
	}
	beds, err := a.names.findBeds(bedWords)
	if err != nil {
		return "", err
	}
	if err := a.happened(ctx, "--date", day); err != nil {
		return "", err
	}
	var codes []string
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			if _, err := tx.AddDone(farm.Done{Bed: b.Code, Pest: farm.Flowers, Action: word, Date: day}, a.now); err != nil {
				return err
			}
			codes = append(codes, b.Code)
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	return fmt.Sprintf("noted: flowers %s in and beside %s on %s; it holds for that day and the next", word, strings.Join(codes, ", "), a.dayOf(day)), nil
}

// Stage stores that beds reached a stage.
func (a *App) Stage(ctx context.Context, day civil.Date, stageWord string, bedWords []string, note string) (string, error) {
	st, err := findStage(stageWord)
	if err != nil {
		return "", err
	}
	beds, err := a.names.findBeds(bedWords)
	if err != nil {
		return "", err
	}
	if err := a.happened(ctx, "--date", day); err != nil {
		return "", err
	}
	var codes []string
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			if _, err := tx.AddStage(farm.StageEvent{Bed: b.Code, Date: day, Stage: st, Note: note}, a.now); err != nil {
				return err
			}
			codes = append(codes, b.Code)
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	return fmt.Sprintf("noted: %s %s on %s", strings.Join(codes, ", "), st, a.dayOf(day)), nil
}

func findStage(word string) (farm.Stage, error) {
	st := farm.Stage(strings.ToLower(word))
	if st.Order() < 0 || st == farm.PrePlant {
		var known []string
		for _, s := range farm.Stages[1:] {
			known = append(known, string(s))
		}
		return "", diag.Usagef("one of: "+strings.Join(known, ", "), "unknown stage %q%s", word, diag.DidYouMean(word, known))
	}
	return st, nil
}

// StageFile stores the stages of a CSV file with the columns date, bed and
// stage, all of them or none.
func (a *App) StageFile(ctx context.Context, r io.Reader, file string) (string, error) {
	events, err := ingest.ParseStages(r, file, a.Today(), a.names)
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	days := make([]dayAt, len(events))
	for i, e := range events {
		days[i].day = e.Date
	}
	if err := a.notLongAgoIn(ctx, file, days); err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, e := range events {
			if _, err := tx.AddStage(e, a.now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	return fmt.Sprintf("stored %s from %s", unitsOf(len(events), "stage"), file), nil
}

// ReleaseOptions are the flags of `release`.
type ReleaseOptions struct {
	Agent, Pest, Amount, Note string
	Beds                      []string
	Date                      civil.Date
	ReleaseMore
}

// Release stores a release of natural enemies, and warns where a residue was
// still harming them.
func (a *App) Release(ctx context.Context, o ReleaseOptions) (Said, error) {
	agent, err := a.findAgent(o.Agent)
	if err != nil {
		return Said{}, err
	}
	beds, err := a.names.findBeds(o.Beds)
	if err != nil {
		return Said{}, err
	}
	if err := a.happened(ctx, "--date", o.Date); err != nil {
		return Said{}, err
	}
	amount, err := units.ParseNumber(o.Amount)
	if err != nil || amount <= 0 || amount > 1e9 {
		return Said{}, diag.Usagef("give --amount with the animals let out in each bed", "--amount %q is not a number above 0", o.Amount)
	}
	pest := ""
	switch {
	case o.Pest != "":
		p, err := a.names.findPest(o.Pest)
		if err != nil {
			return Said{}, err
		}
		pest = p.Key
	case len(agent.Targets) == 1:
		pest = agent.Targets[0]
	default:
		return Said{}, diag.Usagef("say which with --pest, one of: "+strings.Join(agent.Targets, ", "), "%s works against several pests", agent.Latin)
	}
	s, err := a.snapshot(ctx, o.Date)
	if err != nil {
		return Said{}, err
	}
	more, led, notes, err := a.releaseMore(ctx, s, o.ReleaseMore, pest, o.Date)
	if err != nil {
		return Said{}, err
	}
	res := Said{Warnings: notes}
	var codes, reasons []string
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			r := farm.Release{Bed: b.Code, Agent: agent.Key, Pest: pest, Date: o.Date, Amount: amount, Note: o.Note, ReleaseMore: more}
			visit, why, err := led(b)
			if err != nil {
				return err
			}
			r.Visit = visit
			reasons = append(reasons, b.Code+": "+why)
			if _, err := tx.AddRelease(r, a.now); err != nil {
				return err
			}
			codes = append(codes, b.Code)
		}
		return nil
	})
	if err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	now := s
	if o.Date != a.Today() {
		if now, err = a.snapshot(ctx, a.Today()); err != nil {
			return Said{}, err
		}
	}
	for _, b := range beds {
		res.Warnings = append(res.Warnings, a.residueWarnings(s, b, agent.Key, o.Date)...)
		for _, t := range now.treatments { // put on since, and recorded before this
			if t.Bed == b.Code && t.Date.After(o.Date) {
				res.Warnings = append(res.Warnings, a.afterRelease(farm.Release{Bed: b.Code, Agent: agent.Key, Date: o.Date}, now.versions[t.ID], t.Date)...)
			}
		}
	}
	res.Said = fmt.Sprintf("noted: %s %s let out in each of %s on %s", strconv.FormatFloat(amount, 'f', -1, 64), agent.Latin, strings.Join(codes, ", "), a.dayOf(o.Date)) + a.closedNote(ctx, o.Date, codes)
	res.Said += "\n" + strings.Join(reasons, "\n")
	if len(agent.CheckDays) > 0 {
		var days []string
		for _, n := range agent.CheckDays {
			days = append(days, o.Date.AddDays(n).Short())
		}
		res.Said += fmt.Sprintf("\ncheck on %s: %s; success is %s\nthen tell what you saw: leafturn settled %s %s --pest %s --count WITH/LOOKED (or --found, --not-found)",
			strings.Join(days, " and "), agent.CheckHow, agent.Success, agent.Key, strings.Join(codes, " "), pest)
	}
	return res, nil
}

// recordKinds are the words of `void`.
var recordKinds = []store.Kind{store.KindVisit, store.KindTreatment, store.KindRelease, store.KindDone, store.KindStage, store.KindWeather, store.KindOverride, store.KindCover}

// Void marks a record as wrong.
func (a *App) Void(ctx context.Context, kind, number, reason string) (string, error) {
	k, err := recordKind(kind)
	if err != nil {
		return "", err
	}
	id, err := recordNumber(number)
	if err != nil {
		return "", err
	}
	if strings.TrimSpace(reason) == "" {
		return "", diag.Usagef(`give it with --reason "..."`, "a record is not taken out without a reason")
	}
	if err := a.st.Update(ctx, func(tx *store.Tx) error { return tx.Void(k, id, reason, a.now) }); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s %d no longer counts; it stays in the history with the reason", k, id), nil
}

func recordNumber(word string) (int64, error) {
	id, err := strconv.ParseInt(word, 10, 64)
	if err != nil || id <= 0 {
		return 0, diag.Usagef("give the record's number, as `leafturn history` shows it", "%q is not a record number", word)
	}
	return id, nil
}

// Backup copies the store to a new file and checks the copy.
func (a *App) Backup(ctx context.Context, dst string) (*report.Document, string, error) {
	if dst == "" {
		return nil, "", diag.Usagef("name a new file, such as farm-"+a.Today().String()+".leafturn", "the backup has no name")
	}
	if dst == "-" {
		return nil, "", diag.Usagef("name a new file, such as farm-"+a.Today().String()+".leafturn", "a backup is not written to standard output: it is checked as a file")
	}
	if err := a.st.Backup(ctx, dst); err != nil {
		return nil, "", err
	}
	doc := a.document("Backup", a.Today())
	doc.Data = BackupData{File: a.st.Path(), Copy: dst, Checked: true}
	return doc, fmt.Sprintf("a checked copy of %s is in %s", a.st.Path(), dst), nil
}

// BackupData is a backup that was made, as JSON.
type BackupData struct {
	File    string `json:"file"`
	Copy    string `json:"copy"`
	Checked bool   `json:"checked"`
}

// Summary says in a line what doctor found: an error where the file is not whole,
// and how much else there is to be seen.
func Summary(doc *report.Document) (string, error) {
	data := doc.Data.(DoctorData)
	broken, wrong, look := 0, 0, 0
	for _, f := range data.Findings {
		switch {
		case f.Wrong && f.Check == checkWhole:
			broken++
		case f.Wrong:
			wrong++
		default:
			look++
		}
	}
	if broken > 0 {
		return "", diag.Failf(store.ErrDamaged, "`leafturn doctor` says of each what to do; go back to the newest backup that is sound (`leafturn restore FILE`)", "%s is not whole: %s wrong", data.File, areOf(broken, "thing"))
	}
	said := fmt.Sprintf("%s is whole: schema %d, facts %s", data.File, data.Schema, data.Facts)
	if wrong > 0 {
		said += fmt.Sprintf("\n%s wrong in its records: `leafturn doctor` says of each what to do", areOf(wrong, "thing"))
	}
	if look > 0 {
		said += fmt.Sprintf("\n%s worth a look: `leafturn doctor` tells", areOf(look, "thing"))
	}
	return said, nil
}
