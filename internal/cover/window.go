package cover

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

// Errors that callers of SowWindows tell apart.
var (
	ErrSyntax = errors.New("not a sowing window such as FF-45..FF+21")
	ErrFrost  = errors.New("frost date not known")
	ErrOrder  = errors.New("sowing window ends before it begins")
)

// Frost is the frost date that a sowing date is counted from.
type Frost string

// The frost dates.
const (
	FF Frost = "FF" // average first autumn frost
	LF Frost = "LF" // average last spring frost
)

// Window is a span of days on which a crop may be sown, both ends included.
type Window struct {
	From, To civil.Date
	Anchor   Frost  // the frost date that From counts from
	Text     string // the window as the table writes it, such as "FF-45..FF+21"
}

// Holds reports whether d lies in the window.
func (w Window) Holds(d civil.Date) bool { return !d.Before(w.From) && !d.After(w.To) }

const maxOffset = 366 // days; more is a slip of the pen

// SowWindows returns the sowing windows of a crop in one year, in the order
// written.
//
// rel is windows joined by "|", each "point..point", a point being FF (average
// first autumn frost) or LF (average last spring frost) with an offset in
// days: "FF-45..FF+21|LF-60..LF-20". Where the first frost comes earlier in
// the calendar year than the last one (southern hemisphere), a window from LF
// to FF ends in the next year.
//
// Errors are *diag.Problem with the column in characters; they wrap ErrSyntax,
// ErrFrost (the frost date that the text uses is not known) or ErrOrder.
func SowWindows(rel string, lastFrost, firstFrost civil.MonthDay, year int) ([]Window, error) {
	if year < 1 || year > 9998 {
		return nil, &diag.Problem{What: fmt.Sprintf("year %d is out of range", year), Do: "give a year from 1 to 9998", Err: ErrSyntax}
	}
	date := func(p point) (civil.Date, error) {
		md := firstFrost
		if p.frost == LF {
			md = lastFrost
		}
		if md.IsZero() {
			return civil.Date{}, &diag.Problem{
				Col: p.col, What: fmt.Sprintf("sowing window %q: the %s is not known", rel, p.frost.words()),
				Do: "set the farm's frost dates", Err: ErrFrost,
			}
		}
		return md.In(year).AddDays(p.days), nil
	}
	southern := !lastFrost.IsZero() && !firstFrost.IsZero() && firstFrost.In(2001).Before(lastFrost.In(2001))
	var out []Window
	col := 1
	for _, part := range strings.Split(rel, "|") {
		a, b, found := strings.Cut(part, "..")
		if !found {
			return nil, windowProblem(rel, col, part)
		}
		first, err := parsePoint(rel, a, col)
		if err != nil {
			return nil, err
		}
		last, err := parsePoint(rel, b, col+utf8.RuneCountInString(a)+2)
		if err != nil {
			return nil, err
		}
		w := Window{Anchor: first.frost, Text: first.String() + ".." + last.String()}
		if w.From, err = date(first); err != nil {
			return nil, err
		}
		if w.To, err = date(last); err != nil {
			return nil, err
		}
		if southern && first.frost == LF && last.frost == FF && w.To.Before(w.From) {
			w.To = firstFrost.In(year + 1).AddDays(last.days)
		}
		if w.To.Before(w.From) {
			return nil, &diag.Problem{
				Col: first.col, What: fmt.Sprintf("sowing window %q: %s ends (%s) before it begins (%s)", rel, w.Text, w.To, w.From),
				Do: "swap the two ends, or check the frost dates", Err: ErrOrder,
			}
		}
		out = append(out, w)
		col += utf8.RuneCountInString(part) + 1
	}
	return out, nil
}

// point is one end of a window; col is where it stands, in characters.
type point struct {
	frost Frost
	days  int
	col   int
}

func (p point) String() string { return fmt.Sprintf("%s%+d", p.frost, p.days) }

func (f Frost) words() string {
	if f == LF {
		return "average last spring frost"
	}
	return "average first autumn frost"
}

func parsePoint(rel, s string, col int) (point, error) {
	t := strings.TrimLeft(s, " ")
	col += len(s) - len(t)
	t = strings.TrimRight(t, " ")
	p := point{col: col}
	switch {
	case strings.HasPrefix(t, string(FF)):
		p.frost = FF
	case strings.HasPrefix(t, string(LF)):
		p.frost = LF
	default:
		return p, windowProblem(rel, col, t)
	}
	digits := t[2:]
	if digits == "" {
		return p, nil
	}
	sign := 1
	switch digits[0] {
	case '-':
		sign = -1
	case '+':
	default:
		return p, windowProblem(rel, col+2, digits)
	}
	digits = digits[1:]
	if digits == "" || len(digits) > 3 {
		return p, windowProblem(rel, col+2, t[2:])
	}
	for i, r := range digits {
		if r < '0' || r > '9' {
			return p, windowProblem(rel, col+3+i, digits[i:])
		}
		p.days = p.days*10 + int(r-'0')
	}
	if p.days > maxOffset {
		return p, windowProblem(rel, col+2, t[2:])
	}
	p.days *= sign
	return p, nil
}

func windowProblem(rel string, col int, at string) error {
	return &diag.Problem{
		Col: col, What: fmt.Sprintf("sowing window %q: cannot read %q", rel, at),
		Do:  `write windows like FF-45..FF+21, joined by "|"; FF is first frost, LF last frost, offsets in days up to 366`,
		Err: ErrSyntax,
	}
}
