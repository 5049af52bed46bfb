// Package report holds the one document model that every output is made
// from: the printed list, JSON and the calendar.
//
// A Document is plain data. Numbers stay at full precision inside Values;
// only renderers round them. An unknown is a Value with a reason, never a
// zero. Nothing here reads files or the clock, and nothing decides.
//
// Not here: wording of dates and numbers (package render), drawing (package
// plots), and nested items: a list is flat, because people tick it off on
// paper.
package report

import (
	"strings"
	"time"

	"leafturn/internal/civil"
)

// Document is everything one command has to say.
type Document struct {
	Title    string
	Subtitle string
	Farm     string     // the farm's name
	TimeZone string     // the farm's IANA time zone
	AsOf     civil.Date // the day that "today" means; required
	Made     time.Time  // when the document was made, in the farm's zone; passed in, never read from the clock
	Facts    string     // version of the facts used
	Warnings []Line     // shown before everything else
	Sections []Section
	Events   []Event // for the calendar
	Sources  []Source
	Data     any // machine-readable payload of the command, a struct with json tags; nil when there is none
}

// Section is a titled part of a document. Every part may be empty; they are
// shown in the order Lead, Table, Items, Figures, Notes.
type Section struct {
	Key     string // stable name for machine readers, such as "actions"; may be empty
	Title   string
	Lead    Line
	Table   *Table
	Items   []Item
	Figures []Figure
	Notes   []Line
}

// Item is one entry of a list, such as one action of the week.
type Item struct {
	Number  int    // running number in the whole document, 0 for none
	Ref     string // stable reference, such as "t12", to use in a command
	Mark    string // short tag, such as "scout", "do", "order", "not", "left"
	Head    Line   // what to do or what is the case, in one sentence
	Due     Due
	Details []Line
	Safety  []Line // safety lines are never shortened or left out
	Why     Line   // the reason, with the numbers that led to it
	Box     bool   // has a box to tick off
	Done    bool   // ticked; implies Box
}

// Due is when an item has to be done: from a day, by a day, on a day (both
// the same) or between two days. The zero Due is "no date".
type Due struct {
	From, By civil.Date // both included
	Note     string     // time of day or condition, such as "after sunset"
}

// On returns the Due of one day.
func On(d civil.Date) Due { return Due{From: d, By: d} }

// By returns the Due that ends with d.
func By(d civil.Date) Due { return Due{By: d} }

// IsZero reports whether no date and no condition is given.
func (d Due) IsZero() bool { return d == Due{} }

// Align is the alignment of a table column.
type Align int

// The alignments. AlignAuto sets columns of numbers right and others left.
const (
	AlignAuto Align = iota
	AlignLeft
	AlignRight
)

// Column is the head of a table column.
type Column struct {
	Title    string
	Unit     string // shown in the header; "" for none
	Align    Align
	Decimals int // decimals of numbers in this column; a cell that asks for more raises it
}

// Table is rows of values under columns; every row has one cell per column.
type Table struct {
	Title   string // "" when the section's title says it
	Columns []Column
	Rows    [][]Value
}

// Decimals returns how many decimals the numbers of column c are shown with:
// the most that the column or any of its cells asks for, so that decimal
// points stand below each other.
func (t *Table) Decimals(c int) int {
	d := t.Columns[c].Decimals
	for _, row := range t.Rows {
		if row[c].kind == KindNumber {
			d = max(d, row[c].decimals)
		}
	}
	return d
}

// Figure is a drawing that goes with a section.
type Figure struct {
	Key   string // stable name, such as "trend-B3-slug"
	Title string
	Alt   string // what the figure shows, in words made from its own finding
	File  string // where it was written, "" when it was not
	Data  any    // what is drawn, a struct with json tags; nil when not given

	// The picture itself, for outputs that show it; nil when not drawn.
	SVG, PNG      []byte
	Width, Height float64 // of the picture, in points
}

// Status of a calendar event.
type Status string

// The statuses that are written. An event that was sent once and is no
// longer wanted is sent again as Cancelled with a higher sequence.
const (
	Confirmed Status = "CONFIRMED"
	Cancelled Status = "CANCELLED"
)

// Event is one entry for a calendar: either whole days (First to Last, both
// included) or a span between two instants. Elapsed time, such as a re-entry
// interval, is given in UTC; what is to be done when the farm's clock shows an
// hour has the farm's Zone.
type Event struct {
	UID         string // globally unique and constant, from the domain key, such as "trt-12-B3@farm.invalid"
	Summary     string // what to do; safety words belong here too, importers drop alarms
	Description string // may hold line breaks
	Location    string
	First, Last civil.Date // whole days, both included; zero Last is the same as First
	Start, End  time.Time  // instants; zero End is an event without length
	Zone        string     // IANA name of the zone whose clock the instants follow, "" for UTC
	Alarms      []Alarm
	Categories  []string
	Revised     time.Time // when the event last changed; zero is the document's Made
	Sequence    int       // 0, and one more with each significant change
	Status      Status    // "" is Confirmed
	Transparent bool      // true for reminders that do not make the person busy
}

// AllDay reports whether the event is of whole days.
func (e Event) AllDay() bool { return !e.First.IsZero() }

// EndDay returns the day after the last day of a whole-day event: the
// exclusive end that calendars use.
func (e Event) EndDay() civil.Date {
	if e.Last.IsZero() {
		return e.First.AddDays(1)
	}
	return e.Last.AddDays(1)
}

// Alarm is a reminder at Offset from the start of its event, or from its end;
// a negative offset is before it.
type Alarm struct {
	Offset  time.Duration
	FromEnd bool   // from the end: on whole days, 00:00 of the day after the last
	Text    string // "" is the event's summary
}

// AlarmAt returns the alarm of a whole-day event at a clock time (hour 0 to
// 23, minute 0 to 59) on the day that is days after its first day; days is
// negative for days before. It counts from 00:00 of the first day.
func AlarmAt(days, hour, minute int) Alarm {
	return Alarm{Offset: time.Duration(days*24+hour)*time.Hour + time.Duration(minute)*time.Minute}
}

// Source is where a fact comes from.
type Source struct {
	Key   int    // the number in [1]; at least 1
	Text  string // author, year, title
	URL   string
	Basis string // "published", "common practice" or "from memory"
}

// Words are the source with its basis, said once.
func (s Source) Words() string {
	if s.Basis == "" || strings.HasSuffix(s.Text, s.Basis) {
		return s.Text
	}
	return s.Text + " (" + s.Basis + ")"
}
