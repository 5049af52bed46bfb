package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// So many pages of pictures of one kind stand on a page to read: the most
// pressing beds come first, and of hundreds nobody looks at all.
const (
	pestPages     = 2
	overviewPages = 4
)

// moreWords say where the pictures are that are left out.
func moreWords(left int, command string) []report.Line {
	return report.Lines(fmt.Sprintf("%s with less pressing beds left out here: `leafturn %s`", unitsOf(left, "picture"), command))
}

// rankOf puts what is to be acted on first, then what is to be looked at again.
func rankOf(x assess.Assessment) int {
	switch x.Result.Verdict {
	case verdict.Act:
		return 0
	case verdict.Hold:
		return 2
	}
	return 1
}

// WeekPage is the week's list with pictures: under each pest that has work the
// season of its beds, and at the end all pests and beds.
func (a *App) WeekPage(ctx context.Context, on civil.Date) (*report.Document, error) {
	doc, err := a.Week(ctx, on)
	if err != nil {
		return nil, err
	}
	l, err := a.list(ctx, on)
	if err != nil {
		return nil, err
	}
	beds := map[string][]string{}
	for _, line := range l.Lines {
		if line.Section != week.Do {
			continue
		}
		for _, b := range line.Beds {
			if !slices.Contains(beds[line.Pest], b) {
				beds[line.Pest] = append(beds[line.Pest], b)
			}
		}
	}
	s, err := a.snapshot(ctx, on)
	if err != nil {
		return nil, err
	}
	list, next, err := a.allPests(ctx, s)
	if err != nil {
		return nil, err
	}
	for i := range doc.Sections {
		sec := &doc.Sections[i]
		pest, ok := strings.CutPrefix(sec.Key, "do-")
		if !ok {
			continue
		}
		mine := slices.DeleteFunc(slices.Clone(list), func(x assess.Assessment) bool { return x.Pest.Key != pest })
		var of []farm.Bed
		for _, b := range s.beds {
			if slices.Contains(beds[pest], b.Code) {
				of = append(of, b)
			}
		}
		if len(mine) == 0 || len(of) == 0 {
			continue
		}
		slices.SortStableFunc(mine, func(x, y assess.Assessment) int { return cmp.Compare(rankOf(x), rankOf(y)) })
		fig, err := a.pressure(s, mine, of, next)
		if err != nil {
			return nil, err
		}
		for n, page := range fig.Pages() {
			if n == pestPages {
				sec.Notes = append(sec.Notes, moreWords(len(fig.Pages())-n, "plot "+a.pestWord(pest)+" --out "+a.pestWord(pest)+".png")...)
				break
			}
			f, err := drawn(page, fmt.Sprintf("%s-%d", pest, n+1), sec.Title+", bed by bed")
			if err != nil {
				return nil, err
			}
			sec.Figures = append(sec.Figures, f)
		}
	}
	all := report.Section{Key: "season", Title: "The season so far"}
	pages := overviewPictures(a.overview(s, list, next))
	for n, page := range pages {
		if n == overviewPages {
			all.Notes = moreWords(len(pages)-n, "plot --out season.png")
			break
		}
		f, err := drawn(page, fmt.Sprintf("overview-%d", n+1), "All pests and beds")
		if err != nil {
			return nil, err
		}
		all.Figures = append(all.Figures, f)
	}
	doc.Sections = append(doc.Sections, all)
	return doc, nil
}
