package app

import (
	"context"
	"fmt"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/report"
)

// Board is the re-entry board: what is closed until when, to print and post.
// It stands for now, or for an hour of a day; "" for the hour of another day
// than today is its beginning. What was not recorded by then, or ended after
// it, does not stand there.
func (a *App) Board(ctx context.Context, day civil.Date, hour string) (*report.Document, error) {
	at := a.now
	if hour != "" {
		var err error
		if at, err = a.hourOf(day, hour, "--at"); err != nil {
			return nil, err
		}
	} else if day != a.Today() {
		at = day.In(a.loc)
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	var ts []farm.Treatment
	for _, t := range s.treatments {
		began := t.Start
		if began.IsZero() {
			began = t.End
		}
		if t.EndKnown && began.After(at) {
			continue
		}
		ts = append(ts, t)
	}
	openings := map[string]label.Opening{}
	for _, o := range a.openings(ts, s.versions, s.beds, at) {
		openings[o.Bed] = o
	}

	doc := a.document("Re-entry board", day)
	doc.Subtitle = fmt.Sprintf("as of %s (%s)", at.In(a.loc).Format("Mon 2 Jan 2006 15:04 MST"), a.farm.TimeZone)
	if a.farm.Place != "" {
		doc.Subtitle += ", " + a.farm.Place
	}
	doc.Warnings = report.Lines(
		"A closed bed is closed to everybody and to all hand work: no cutting, weeding, tying or counting. The product label and local law outrank this page; early entry is not decided here.")
	data := BoardData{At: stamp(at, a.loc), Beds: []BoardBedData{}}
	shut := report.Section{Key: "closed", Title: "CLOSED: keep out"}
	open := report.Section{Key: "open", Title: "Open"}
	posted := report.Section{Key: "posted", Title: "Applications on display", Lead: report.Plain(
		"With the safety data sheet of each product and the safety poster, from before anybody comes to work, at the latest 24 hours after the end, for 30 days after the re-entry interval (40 CFR 170.311(b); the 24 hours from memory); elsewhere as your own law asks.")}
	var free []string
	for _, b := range s.beds {
		o, any := openings[b.Code]
		d := BoardBedData{Bed: b.Code, Known: true, CutKnown: true, Applications: []BoardApplication{}}
		var running []string
		for _, t := range ts {
			if t.Bed != b.Code {
				continue
			}
			x, l := a.boardApplication(t, s.versions[t.ID], b)
			if x.REIHours != nil && civil.DateIn(at, a.loc).After(x.DisplayThrough) {
				continue
			}
			d.Applications = append(d.Applications, x)
			posted.Notes = append(posted.Notes, report.Plain(boardLine(b.Code, x, a.farm.TimeZone)))
			if x.REIHours == nil || t.End.Add(time.Duration(*x.REIHours*float64(time.Hour))).After(at) {
				running = append(running, l.Product)
			}
		}
		if any {
			d.Known, d.CutKnown = o.Known, o.HarvestKnown
			d.Closed = !o.Known || o.At.After(at)
			if o.Known {
				d.Until = stamp(o.At, a.loc)
			}
			if o.HarvestKnown && o.HarvestFrom.After(civil.DateIn(at, a.loc)) {
				d.CutFrom = o.HarvestFrom
			}
		}
		d.Signs = boardSigns(d, b, at, a.loc)
		data.Beds = append(data.Beds, d)
		var more []string
		switch {
		case !d.CutKnown:
			more = append(more, "no cutting: nobody has read the pre-harvest interval off the label")
		case !d.CutFrom.IsZero():
			more = append(more, fmt.Sprintf("no cutting before %s %d", d.CutFrom.Short(), d.CutFrom.Year))
		}
		if d.Signs != "" {
			more = append(more, d.Signs)
		}
		if !d.Closed {
			if len(more) == 0 {
				free = append(free, b.Code)
				continue
			}
			open.Items = append(open.Items, report.Item{Head: report.Plain(b.Code + ": open"), Details: report.Lines(more...)})
			continue
		}
		head := fmt.Sprintf("%s: closed until %s", b.Code, long(d.Until, a.farm.TimeZone))
		if !d.Known {
			head = b.Code + ": closed until the label is read; its re-entry interval is unknown"
		}
		if len(running) > 1 {
			more = append([]string{"after " + strings.Join(running, " and ") + "; the longest interval counts"}, more...)
		} else if len(running) == 1 {
			more = append([]string{"after " + running[0]}, more...)
		}
		shut.Items = append(shut.Items, report.Item{Head: report.Plain(head), Details: report.Lines(more...)})
	}
	if len(shut.Items) == 0 {
		shut.Title, shut.Lead = "Closed", report.Plain("No bed is closed by what is recorded.")
	}
	if len(free) > 0 {
		open.Notes = report.Lines("Open, nothing to mind: " + strings.Join(free, ", "))
	}
	doc.Sections = append(doc.Sections, shut)
	if len(open.Items)+len(open.Notes) > 0 {
		doc.Sections = append(doc.Sections, open)
	}
	if len(posted.Notes) > 0 {
		doc.Sections = append(doc.Sections, posted)
	}
	doc.Data = data
	return doc, nil
}

// hourOf reads a time of day, given by a flag, on the farm's clock.
func (a *App) hourOf(day civil.Date, hour, flag string) (time.Time, error) {
	at, _, err := ingest.ParseClock(day.String()+" "+hour, a.Today(), a.loc)
	if err != nil {
		return at, diag.Usagef("write the time of day as 18:30, on the farm's clock", "%s: %s", flag, firstLine(err))
	}
	return at, nil
}

func (a *App) boardApplication(t farm.Treatment, l farm.Label, b farm.Bed) (BoardApplication, farm.Label) {
	x := BoardApplication{
		ID: t.ID, Product: l.Product, Registration: statedWords(l.Registration), Actives: []string{}, Part: t.Part, CropAndSite: cropAndSite(b),
		Start: stamp(t.Start, a.loc), End: stamp(t.End, a.loc), EndKnown: t.EndKnown,
	}
	for _, y := range l.Actives {
		x.Actives = append(x.Actives, activeWords(y))
	}
	hours, state := label.REI(l, b.Site, b.CropWord())
	x.REIState = string(state)
	if state == farm.NotRead {
		return x, l
	}
	end := t.End.Add(time.Duration(hours * float64(time.Hour)))
	x.REIHours, x.REIEnd, x.DisplayThrough = &hours, stamp(end, a.loc), label.DisplayThrough(civil.DateIn(end, a.loc))
	if label.SignsNeeded(b.Site, hours) || l.DoubleNotice.Value && hours > 0 { // or as the label says, 40 CFR 170.409(a)
		began := t.Start
		if began.IsZero() {
			began = t.End
		}
		up, down := label.Signs(began, end)
		x.SignsUp, x.SignsDown = stamp(up, a.loc), stamp(down, a.loc)
	}
	return x, l
}

// cropAndSite says what grows in a bed, and where: the display asks for the crop
// or site that was treated and its place.
func cropAndSite(b farm.Bed) string {
	words := b.CropWord()
	if b.Cultivar != "" {
		words += " (" + b.Cultivar + ")"
	}
	switch b.Site {
	case farm.Outdoor:
		return words + ", outdoors"
	case farm.House:
		return words + ", in a house"
	}
	return words + ", site not recorded"
}

// boardSigns says whether warning signs must stand at a bed, or come down.
func boardSigns(d BoardBedData, b farm.Bed, at time.Time, loc *time.Location) string {
	var stand, down time.Time
	for _, x := range d.Applications {
		if x.REIHours == nil {
			return "warning signs: not known before the label is read; leave them up (US: 40 CFR 170.409)"
		}
		if x.SignsDown == "" {
			continue
		}
		end, err1 := time.Parse(time.RFC3339, x.REIEnd)
		last, err2 := time.Parse(time.RFC3339, x.SignsDown)
		if err1 != nil || err2 != nil || last.Before(at) {
			continue
		}
		if end.After(stand) {
			stand = end
		}
		if last.After(down) {
			down = last
		}
	}
	const form = "Mon 2 Jan 2006 15:04 MST"
	switch {
	case stand.IsZero():
		return ""
	case stand.After(at):
		return fmt.Sprintf("warning signs must stand until %s, and come down by %s (US: 40 CFR 170.409)", stand.In(loc).Format(form), down.In(loc).Format(form))
	}
	return fmt.Sprintf("take the warning signs down by %s (US: 40 CFR 170.409)", down.In(loc).Format(form))
}

func boardLine(bed string, x BoardApplication, zone string) string {
	words := fmt.Sprintf("%s: %s, registration number %s, active %s; ", bed, x.Product, x.Registration, orWords(strings.Join(x.Actives, ", "), "unknown"))
	if x.Part != "" {
		words = fmt.Sprintf("%s (%s)", bed, x.Part) + strings.TrimPrefix(words, bed)
	}
	words += x.CropAndSite + "; "
	if x.Start != "" {
		words += "began " + long(x.Start, zone) + ", "
	} else {
		words += "beginning not recorded, "
	}
	words += "ended " + long(x.End, zone)
	if !x.EndKnown {
		words += " at the latest"
	}
	switch {
	case x.REIHours == nil:
		return words + "; re-entry interval unknown; on display until it is read"
	case x.REIState == string(farm.NoneStated):
		words += "; the label states no re-entry interval"
	default:
		words += fmt.Sprintf("; re-entry %g hours, until %s", *x.REIHours, long(x.REIEnd, zone))
	}
	return words + fmt.Sprintf("; on display through %s %d", x.DisplayThrough.Short(), x.DisplayThrough.Year)
}
