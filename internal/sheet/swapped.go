package sheet

// swapped looks for days and months that a spreadsheet changed round. Where 13/7/2026
// was typed day first into one that has the month first, it stays text; 3/7/2026
// beside it has become a date, that of 7 March.
type swapped struct {
	row, text     int // the first date of the spreadsheet that may be wrong; the first text; 0 for none
	col           *Column
	date, written string
}

// add notes the date of a row of a workbook.
func (s *swapped) add(row Row, c *Column, text string, a dateAnswer) {
	if a.order && s.text == 0 {
		s.text, s.written = row.N, text
	}
	if row.isDate(c.Col) && s.row == 0 && a.d.Day <= 12 && a.d.Day != int(a.d.Month) {
		s.row, s.col, s.date = row.N, c, text
	}
}

// swappedDays refuses a workbook with dates of both kinds.
func (r *reader) swappedDays() {
	s := &r.swap
	if s.row == 0 || s.text == 0 {
		return
	}
	const what = "the spreadsheet has dates such as %s, and could not read others, such as %s in row %d, which it left as text: it may have changed day and month round where it could"
	r.add(s.row, s.col.Col, s.col.Heading, s.date, "check the dates whose day is 12 or less against your notes; then write those that are text as 2026-07-13 (year-month-day)", what, s.date, quote(s.written), s.text)
	r.loose(s.row, part{})
	r.reason(s.row, "day and month may be changed round in the dates of the workbook")
}
