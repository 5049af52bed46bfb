package render

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// ErrNoEvents reports a document without events: an iCalendar file must hold
// at least one component (RFC 5545, section 3.6), so none is written.
var ErrNoEvents = errors.New("there is nothing to put in a calendar")

// ProdID names the program in calendars (RFC 5545, section 3.7.3).
const ProdID = "-//leafturn//leafturn//EN"

// maxOctets is the most octets a line may have without its CRLF (RFC 5545,
// section 3.1).
const maxOctets = 75

// ICS writes the document's events as an iCalendar file (RFC 5545), a
// snapshot for import. There is no METHOD: that would make of it a message
// between an organizer and attendees (RFC 5546), which an entry without an
// organizer cannot be. Without a METHOD, DTSTAMP is when the event last
// changed (section 3.8.7.2): Event.Revised, else Document.Made. So the same
// document gives the same bytes. LAST-MODIFIED repeats it for readers that
// look there.
//
// Whole days are dates with an exclusive end, and belong to no zone. Instants
// are UTC, or local time of the event's own zone, which the file then defines.
// Alarms are relative to the start or the end; on whole days that is 00:00 in
// the zone of whoever reads the calendar.
//
// Errors: what Document.Validate reports, ErrNoEvents, an event without a
// time of change, a zone that the zone data does not hold, or a failed write.
//
// Not here: repeating events, invitations, to-dos.
func ICS(w io.Writer, doc report.Document) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	if len(doc.Events) == 0 {
		return ErrNoEvents
	}
	var c calendar
	c.line("BEGIN:VCALENDAR")
	c.line("VERSION:2.0")
	c.line("PRODID:" + ProdID)
	c.line("CALSCALE:GREGORIAN")
	names, spans, err := zonesOf(doc.Events)
	if err != nil {
		return err
	}
	for _, name := range names {
		c.zone(name, spans[name])
	}
	for _, e := range doc.Events {
		stamp := e.Revised
		if stamp.IsZero() {
			stamp = doc.Made
		}
		if stamp.IsZero() {
			return fmt.Errorf("write calendar: event %q does not say when it last changed", e.UID)
		}
		if err := c.event(e, stamp); err != nil {
			return err
		}
	}
	c.line("END:VCALENDAR")
	if _, err := io.WriteString(w, c.out.String()); err != nil {
		return fmt.Errorf("write calendar: %w", err)
	}
	return nil
}

type calendar struct{ out strings.Builder }

func (c *calendar) line(s string) { c.out.WriteString(fold(s)) }

// text writes a TEXT property, and nothing when the text is empty.
func (c *calendar) text(name, value string) {
	if value != "" {
		c.line(name + ":" + escapeText(value))
	}
}

func (c *calendar) event(e report.Event, stamp time.Time) error {
	z, err := zoneOf(e)
	if err != nil {
		return err
	}
	c.line("BEGIN:VEVENT")
	c.text("UID", e.UID)
	c.line("DTSTAMP:" + utcStamp(stamp))
	c.line("LAST-MODIFIED:" + utcStamp(stamp))
	if e.AllDay() {
		c.line("DTSTART;VALUE=DATE:" + dateStamp(e.First))
		c.line("DTEND;VALUE=DATE:" + dateStamp(e.EndDay()))
	} else {
		c.line(z.instant("DTSTART", e.Start))
		// DTEND must be later than DTSTART (section 3.8.2.2); without it the
		// event ends when it starts (section 3.6.1).
		if utcStamp(e.End) > utcStamp(e.Start) && !e.End.IsZero() {
			c.line(z.instant("DTEND", e.End))
		}
	}
	c.text("SUMMARY", e.Summary)
	c.text("DESCRIPTION", e.Description)
	c.text("LOCATION", e.Location)
	if len(e.Categories) > 0 {
		parts := make([]string, len(e.Categories))
		for i, s := range e.Categories {
			parts[i] = escapeText(s)
		}
		c.line("CATEGORIES:" + strings.Join(parts, ","))
	}
	c.line(fmt.Sprintf("SEQUENCE:%d", e.Sequence))
	status := e.Status
	if status == "" {
		status = report.Confirmed
	}
	c.line("STATUS:" + string(status))
	if e.Transparent {
		c.line("TRANSP:TRANSPARENT")
	} else {
		c.line("TRANSP:OPAQUE")
	}
	for _, a := range e.Alarms {
		text := a.Text
		if text == "" {
			text = e.Summary
		}
		c.line("BEGIN:VALARM")
		c.line("ACTION:DISPLAY")
		c.text("DESCRIPTION", text)
		related := ""
		if a.FromEnd {
			related = ";RELATED=END" // from the start is the default (section 3.2.14)
		}
		c.line("TRIGGER" + related + ":" + duration(a.Offset, e.AllDay()))
		c.line("END:VALARM")
	}
	c.line("END:VEVENT")
	return nil
}

func utcStamp(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

func dateStamp(d civil.Date) string { return d.Time().Format("20060102") }

// duration writes a DURATION value in whole seconds (RFC 5545, section
// 3.3.6); hours and seconds need the minutes between them. Days and weeks are
// nominal there: over a clock change a day may have 23 or 25 hours. That is
// right for whole days, whose alarms are clock times, and wrong for instants,
// which get hours only.
func duration(d time.Duration, days bool) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	total := int64(d / time.Second)
	h, m, s := total/3600, total/60%60, total%60
	out := sign + "P"
	if days && h >= 24 {
		out += fmt.Sprintf("%dD", h/24)
		h %= 24
	}
	var clock string
	if h > 0 {
		clock += fmt.Sprintf("%dH", h)
	}
	if m > 0 || h > 0 && s > 0 {
		clock += fmt.Sprintf("%dM", m)
	}
	if s > 0 {
		clock += fmt.Sprintf("%dS", s)
	}
	if total == 0 {
		return "PT0S"
	}
	if clock != "" {
		out += "T" + clock
	}
	return out
}

// escapeText writes a TEXT value (RFC 5545, section 3.3.11): backslash,
// semicolon and comma are escaped, line breaks become \n, and control
// characters, which the grammar forbids, are left out.
func escapeText(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == ';' || r == ',':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n' || r == '\r':
			b.WriteString(`\n`)
		case r < 0x20 && r != '\t' || r == 0x7f:
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// fold breaks a content line into lines of at most 75 octets, each ended by
// CRLF and continued by one space that counts in the next line's 75 (RFC
// 5545, section 3.1). It never breaks inside a UTF-8 sequence.
func fold(s string) string {
	var b strings.Builder
	room := maxOctets
	for len(s) > room {
		n := room
		for n > 0 && !utf8.RuneStart(s[n]) {
			n--
		}
		if n == 0 { // not UTF-8: break anywhere
			n = room
		}
		b.WriteString(s[:n] + "\r\n ")
		s = s[n:]
		room = maxOctets - 1
	}
	b.WriteString(s + "\r\n")
	return b.String()
}
