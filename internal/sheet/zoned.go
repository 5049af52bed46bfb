package sheet

import (
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
)

// A time with its zone, as phones and web forms write it: 2026-07-14T02:00:00Z.
var zoned = pattern.New(`(?i)^(\S.*?)(?:T|,?\s+)(\d{1,2}:\d{2})(:\d{2})?(?:\.\d+)?\s*([AP]M)?\s*(?:(Z|UTC|GMT)|(?:UTC|GMT)?([+-])(\d{1,2})(?::?(\d{2}))?)$`)

// atFarm reads such a time and says which day it was on the farm; ok is false for
// a text of another kind. moved says that it is not the day that is written.
func atFarm(s string, order Order, farm *time.Location) (d civil.Date, moved bool, w *wrong, ok bool) {
	m := zoned().FindStringSubmatch(s)
	if m == nil {
		return civil.Date{}, false, nil, false
	}
	written, w := parseDate(m[1], order)
	if w != nil {
		return written, false, w, true
	}
	form := "15:04"
	if m[4] != "" {
		form = "3:04PM"
	}
	clock, err := time.Parse(form, m[2]+strings.ToUpper(m[4]))
	hours, minutes := atoi(m[7]), atoi(m[8])
	if err != nil || hours > 14 || minutes > 59 {
		return written, false, bad("write the date alone, such as 2026-07-13", "%s is no time of day", quote(s)), true
	}
	offset := hours*3600 + minutes*60
	if m[6] == "-" {
		offset = -offset
	}
	if farm == nil {
		farm = time.UTC
	}
	at := time.Date(written.Year, written.Month, written.Day, clock.Hour(), clock.Minute(), 0, 0, time.FixedZone("", offset))
	d = civil.DateIn(at, farm)
	if d != written && offset == 0 && clock.Hour() == 0 && clock.Minute() == 0 {
		return d, false, bad("write the date alone, such as 2026-07-13", "%s can be a day alone, or an hour that is %s on the farm", quote(s), d), true
	}
	return d, d != written, nil, true
}
