package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/plots"
)

// bloomNext says which companion plants are sown next.
func bloomNext(rows []plots.BloomRow, today civil.Date) string {
	if len(rows) == 0 {
		return "choose plants: `leafturn companions` says which ones have evidence."
	}
	var on civil.Date
	for _, r := range rows {
		for _, d := range r.Sow {
			if !d.Before(today) && (on.IsZero() || d.Before(on)) {
				on = d
			}
		}
	}
	if on.IsZero() {
		return "no sowing is left this season; keep what blooms and note when it starts and ends."
	}
	var plants []string
	for _, r := range rows {
		if slices.Contains(r.Sow, on) {
			plants = append(plants, r.Plant)
		}
	}
	day := on.Short()
	if on.Year != today.Year {
		day = fullDay(on)
	}
	return fmt.Sprintf("sow %s on %s.", strings.Join(plants, ", "), day)
}

// coverNext says what is sown next, and in which beds; where all is sown, what
// is ended next.
func coverNext(beds []plots.CoverBed, today civil.Date) string {
	first := func(day func(plots.CoverBed) civil.Date) (on civil.Date, cover string, codes []string) {
		for _, b := range beds {
			if d := day(b); !d.IsZero() && !d.Before(today) && (on.IsZero() || d.Before(on)) {
				on, cover = d, b.Cover
			}
		}
		for _, b := range beds {
			if !on.IsZero() && b.Cover == cover && day(b) == on {
				codes = append(codes, b.Code)
			}
		}
		return on, cover, codes
	}
	if on, cover, codes := first(func(b plots.CoverBed) civil.Date { return b.Sow }); len(codes) > 0 {
		return fmt.Sprintf("sow %s in %s from %s on.", cover, bedsWords(codes), on.Short())
	}
	if on, cover, codes := first(func(b plots.CoverBed) civil.Date { return b.End }); len(codes) > 0 {
		return fmt.Sprintf("end %s in %s by %s.", cover, bedsWords(codes), on.Short())
	}
	return ""
}
