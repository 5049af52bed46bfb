package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// calendarSigns begins the note on what the signs of the bloom calendar mean.
const calendarSigns = "one sign a week from "

// NextYear is next year's plan on paper: the covers with their map and their
// work, then the companion plants with their bloom calendar.
func (a *App) NextYear(ctx context.Context, day civil.Date, o CoverOptions) (*report.Document, error) {
	o.Pictures = true
	covers, err := a.Covers(ctx, day, o)
	if err != nil {
		return nil, err
	}
	p, err := a.companionPlan(ctx, day, CompanionOptions{})
	if err != nil {
		return nil, err
	}
	companions := a.companionDocument(p, day)
	if i := slices.IndexFunc(companions.Sections, func(s report.Section) bool { return s.Key == "calendar" }); i >= 0 {
		calendar := a.bloomCalendar(p, day)
		calendar.Wide = paperWide
		for n, page := range calendar.Pages() {
			f, err := drawn(page, fmt.Sprintf("bloom-%d", n+1), "Bloom calendar")
			if err != nil {
				return nil, err
			}
			companions.Sections[i].Figures = append(companions.Sections[i].Figures, f)
		}
		sec := &companions.Sections[i]
		sec.Table = nil // the picture says it
		sec.Notes = slices.DeleteFunc(sec.Notes, func(l report.Line) bool { return strings.HasPrefix(l.Parts()[0].Words(), calendarSigns) })
	}
	doc := a.document("Next year's plan", day)
	doc.Subtitle = "covers, companions and the work they bring"
	doc.Warnings = report.Lines("Local law outranks this plan: what may be sown near water, which plants are listed as weeds, and what a certifier asks for.")
	covers.Sections[0].Title = "Covers by bed"
	behindCovers := putBehind(covers, "plan", "works", "seed")
	companions.Sections[0].Title = "Companion plants"
	behindCompanions := putBehind(companions, "answer", "sowing", "calendar", "avoid")
	for _, part := range []*report.Document{covers, companions, behindCovers, behindCompanions} {
		doc.Append(*part)
	}
	return doc, nil
}

// putBehind takes the sections that are not named out of a document and returns
// them as one of their own: what is to be done stands first on paper, and why
// and what is not known behind it.
func putBehind(doc *report.Document, keys ...string) *report.Document {
	rest := *doc
	rest.Sections = nil
	front := doc.Sections
	doc.Sections = nil
	for _, s := range front {
		if slices.Contains(keys, s.Key) {
			doc.Sections = append(doc.Sections, s)
		} else {
			rest.Sections = append(rest.Sections, s)
		}
	}
	slices.SortStableFunc(doc.Sections, func(x, y report.Section) int {
		return slices.Index(keys, x.Key) - slices.Index(keys, y.Key)
	})
	return &rest
}
