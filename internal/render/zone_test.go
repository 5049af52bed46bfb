package render

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// zoneNames are zones north and south of the equator, with clock changes and
// without, by a whole hour and by half of one, east and west of Greenwich, and
// one whose winter time is the exception.
var zoneNames = []string{
	"Europe/Amsterdam", "America/New_York", "America/Los_Angeles", "Australia/Sydney", "America/Santiago", "Pacific/Auckland",
	"Australia/Lord_Howe", "Asia/Kolkata", "America/Phoenix", "Europe/Dublin", "Africa/Casablanca", "America/St_Johns", "Etc/GMT+5",
}

func location(t require.TestingT, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// slowZone reads a VTIMEZONE by hand, as RFC 5545, section 3.6.5, says: the
// observance with the latest onset gives the offset. It shares no code with
// the writer and knows no zone data.
type slowZone []slowOnset

type slowOnset struct {
	at time.Time // the instant
	to time.Duration
}

func readZone(t require.TestingT, ics, name string) slowZone {
	_, block, ok := strings.Cut(unfold(ics), "BEGIN:VTIMEZONE\r\nTZID:"+name+"\r\n")
	require.True(t, ok, "no VTIMEZONE %s in\n%s", name, ics)
	block, _, ok = strings.Cut(block, "END:VTIMEZONE\r\n")
	require.True(t, ok)
	var z slowZone
	var local []string
	var from, to time.Duration
	kind := ""
	for line := range strings.SplitSeq(strings.TrimSuffix(block, "\r\n"), "\r\n") {
		key, value, _ := strings.Cut(line, ":")
		switch key {
		case "BEGIN":
			require.Contains(t, []string{"STANDARD", "DAYLIGHT"}, value)
			kind, local = value, nil
		case "DTSTART":
			require.Empty(t, local)
			local = []string{value}
		case "RDATE":
			local = append(local, strings.Split(value, ",")...)
		case "TZOFFSETFROM":
			from = slowOffset(t, value)
		case "TZOFFSETTO":
			to = slowOffset(t, value)
		case "TZNAME":
			require.NotEmpty(t, value)
		case "END":
			require.Equal(t, kind, value)
			for _, x := range local {
				at, err := time.Parse("20060102T150405", x)
				require.NoError(t, err)
				z = append(z, slowOnset{at.Add(-from), to})
			}
		default:
			require.Fail(t, "what is this: "+line)
		}
	}
	require.NotEmpty(t, z, "at least one observance")
	return z
}

func slowOffset(t require.TestingT, s string) time.Duration {
	require.Regexp(t, `^[+-]\d{4}$`, s)
	require.NotEqual(t, "-0000", s)
	h, _ := strconv.Atoi(s[1:3])
	m, _ := strconv.Atoi(s[3:5])
	d := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
	if s[0] == '-' {
		return -d
	}
	return d
}

// instant turns a local time into an instant: of the candidates by each known
// offset the earliest at which that offset is in force.
func (z slowZone) instant(t require.TestingT, local string) time.Time {
	wall, err := time.Parse("20060102T150405", local)
	require.NoError(t, err)
	var best time.Time
	for _, o := range z {
		at := wall.Add(-o.to)
		if z.offsetAt(at) == o.to && (best.IsZero() || at.Before(best)) {
			best = at
		}
	}
	require.False(t, best.IsZero(), "%s is no time of this zone", local)
	return best
}

func (z slowZone) offsetAt(at time.Time) time.Duration {
	var last slowOnset
	for _, o := range z {
		if !o.at.After(at) && (last.at.IsZero() || o.at.After(last.at)) {
			last = o
		}
	}
	return last.to
}

// readInstant reads a property of the first event by the hand parser.
func readInstant(t require.TestingT, ics, property string) (at time.Time, inZone bool) {
	_, event, ok := strings.Cut(unfold(ics), "BEGIN:VEVENT\r\n")
	require.True(t, ok)
	for line := range strings.SplitSeq(event, "\r\n") {
		head, value, _ := strings.Cut(line, ":")
		if head == property {
			at, err := time.Parse("20060102T150405Z", value)
			require.NoError(t, err)
			return at, false
		}
		if name, ok := strings.CutPrefix(head, property+";TZID="); ok {
			return readZone(t, ics, name).instant(t, value), true
		}
	}
	require.Fail(t, "no "+property)
	return time.Time{}, false
}

// RFC 5545, section 3.6.5, gives for New York in 2007: daylight time from
// 11 March 02:00 (-0500 to -0400, EDT), standard time from 4 November 02:00
// (-0400 to -0500, EST); and the winter before from 29 October 2006, the last
// Sunday of October.
func TestZoneExampleOfRFC5545(t *testing.T) {
	ny := location(t, "America/New_York")
	out := asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Zone: "America/New_York",
		Start: time.Date(2007, 7, 4, 9, 0, 0, 0, ny), End: time.Date(2007, 7, 4, 10, 30, 0, 0, ny)}))
	require.Contains(t, out, "BEGIN:DAYLIGHT\r\nDTSTART:20070311T020000\r\nTZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\nTZNAME:EDT\r\nEND:DAYLIGHT\r\n")
	require.Contains(t, out, "BEGIN:STANDARD\r\nDTSTART:20061029T020000\r\nRDATE:20071104T020000\r\nTZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500\r\nTZNAME:EST\r\nEND:STANDARD\r\n")
	require.Contains(t, out, "\r\nDTSTART;TZID=America/New_York:20070704T090000\r\nDTEND;TZID=America/New_York:20070704T103000\r\n")
	require.Less(t, strings.Index(out, "VTIMEZONE"), strings.Index(out, "VEVENT"))
	require.NotContains(t, out, "RRULE")
}

// A zone that does not change its clock has one observance.
func TestZoneWithoutChange(t *testing.T) {
	out := asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Zone: "Etc/GMT+5", Start: time.Date(2026, 7, 4, 14, 0, 0, 0, time.UTC)}))
	require.Contains(t, out, "BEGIN:VTIMEZONE\r\nTZID:Etc/GMT+5\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nTZOFFSETFROM:-0500\r\nTZOFFSETTO:-0500\r\nTZNAME:-05\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n")
	require.Contains(t, out, "DTSTART;TZID=Etc/GMT+5:20260704T090000\r\n")
	out = asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Zone: "Asia/Kolkata", Start: time.Date(2026, 7, 4, 3, 30, 0, 0, time.UTC)}))
	require.Equal(t, 1, strings.Count(out, "BEGIN:STANDARD"))
	require.Contains(t, out, "TZOFFSETTO:+0530\r\n")
}

// Time.ZoneBounds gives a false end on the last day of 2040: it must neither
// hold the writer up nor appear as a change of the clock.
func TestZoneLastDayOfALeapYear(t *testing.T) {
	loc := location(t, "Europe/Amsterdam")
	out := asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Zone: "Europe/Amsterdam",
		Start: time.Date(2040, 12, 30, 9, 0, 0, 0, loc), End: time.Date(2041, 1, 2, 9, 0, 0, 0, loc)}))
	// The last Sundays of March and October at 01:00 UTC (Directive
	// 2000/84/EC): 30 October 2039, 25 March and 28 October 2040, 31 March and
	// 27 October 2041.
	require.Contains(t, out, "DTSTART:20391030T030000\r\nRDATE:20401028T030000,20411027T030000\r\nTZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\n")
	require.Contains(t, out, "DTSTART:20400325T020000\r\nRDATE:20410331T020000\r\nTZOFFSETFROM:+0100\r\nTZOFFSETTO:+0200\r\n")
	require.NotContains(t, out, "1231T")
}

// Every quarter of an hour around the clock changes of a year, in every zone:
// the hand parser and the independent reader get the instant back.
func TestZoneChanges(t *testing.T) {
	for _, name := range zoneNames {
		loc := location(t, name)
		repeats, seen := 0, 0
		for hour := time.Date(2026, 1, 1, 0, 0, 0, 0, loc); hour.Year() < 2027; hour = hour.Add(30 * time.Minute) {
			_, before := hour.Add(-30 * time.Minute).Zone()
			if _, after := hour.Zone(); before == after {
				continue
			}
			seen++
			for at := hour.Add(-3 * time.Hour); !at.After(hour.Add(3 * time.Hour)); at = at.Add(15 * time.Minute) {
				e := report.Event{UID: "a", Summary: "s", Zone: name, Start: at, End: at.Add(36 * time.Hour)}
				out := asICS(t, oneEvent(e))
				start, inZone := readInstant(t, out, "DTSTART")
				require.True(t, at.Equal(start), "%s %s: %s\n%s", name, at, start, out)
				end, _ := readInstant(t, out, "DTEND")
				require.True(t, e.End.Equal(end), "%s %s: %s", name, e.End, end)
				if !inZone {
					repeats++
				}
				readByOthers(t, out, e, inZone)
			}
		}
		switch name {
		case "Asia/Kolkata", "America/Phoenix", "Etc/GMT+5":
			require.Zero(t, seen, name)
		case "Australia/Lord_Howe": // sets its clock back by half an hour
			require.Equal(t, 2, seen, name)
			require.Equal(t, 2, repeats, name)
		default:
			require.Equal(t, 2, seen, name)
			require.Equal(t, 4, repeats, "%s: the hour that comes twice is written in UTC the second time", name)
		}
	}
}

// readByOthers checks the event with golang-ical, which looks a TZID up by its
// name. Go does not promise which of two instants a local time stands for that
// comes twice (time.Date), so the wall clock is compared.
func readByOthers(t require.TestingT, out string, e report.Event, inZone bool) {
	cal, err := ical.ParseCalendar(strings.NewReader(out))
	require.NoError(t, err)
	require.Len(t, cal.Events(), 1)
	got, err := cal.Events()[0].GetStartAt()
	require.NoError(t, err)
	if !inZone {
		require.True(t, e.Start.Equal(got), "%s: %s", e.Start, got)
		return
	}
	require.Len(t, cal.Timezones(), 1)
	require.Equal(t, e.Start.In(got.Location()).Format("20060102T150405"), got.Format("20060102T150405"))
	require.LessOrEqual(t, e.Start.Sub(got).Abs(), time.Hour)
}

// Any instants of some years, in any of the zones, several in a file.
func TestZoneRoundTripProperty(t *testing.T) {
	second := rapid.Int64Range(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).Unix(), time.Date(2045, 1, 1, 0, 0, 0, 0, time.UTC).Unix())
	rapid.Check(t, func(t *rapid.T) {
		doc := oneEvent(report.Event{})
		doc.Events = nil
		for i := range rapid.IntRange(1, 4).Draw(t, "events") {
			e := report.Event{UID: fmt.Sprint("e", i), Summary: "s", Start: time.Unix(second.Draw(t, "start"), 0),
				Zone: rapid.SampledFrom(append([]string{"", "UTC"}, zoneNames...)).Draw(t, "zone")}
			e.End = e.Start.Add(time.Duration(rapid.IntRange(1, 400*86400).Draw(t, "seconds")) * time.Second)
			e.Alarms = []report.Alarm{{FromEnd: true}, {Offset: -time.Hour}}
			doc.Events = append(doc.Events, e)
		}
		out := asICS(t, doc)
		checkFolded(t, out)
		parts := strings.Split(out, "BEGIN:VEVENT\r\n")
		for i, e := range doc.Events {
			one := parts[0] + "BEGIN:VEVENT\r\n" + parts[i+1]
			start, _ := readInstant(t, one, "DTSTART")
			end, _ := readInstant(t, one, "DTEND")
			if !e.Start.Equal(start) || !e.End.Equal(end) {
				t.Fatalf("%s to %s in %q: %s to %s\n%s", e.Start.UTC(), e.End.UTC(), e.Zone, start, end, one)
			}
		}
		cal, err := ical.ParseCalendar(strings.NewReader(out))
		require.NoError(t, err)
		require.Len(t, cal.Events(), len(doc.Events))
		for _, z := range cal.Timezones() {
			name := z.GetProperty(ical.ComponentProperty(ical.PropertyTzid)).Value
			require.Equal(t, 1, strings.Count(unfold(out), "\r\nTZID:"+name+"\r\n"), "%s is defined once", name)
			require.Contains(t, unfold(out), ";TZID="+name+":", "and used")
		}
	})
}

func TestZoneRefuses(t *testing.T) {
	at := time.Date(2026, 7, 13, 8, 0, 0, 0, time.UTC)
	e := report.Event{UID: "a", Summary: "s", Start: at, Zone: "Mars/Olympus"}
	require.ErrorContains(t, ICS(&strings.Builder{}, oneEvent(e)), `event "a": unknown time zone Mars/Olympus`)
	require.NotContains(t, asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Start: at, Zone: "UTC"})), "TZID")
	require.Equal(t, "-0330", offset(-12600))
	require.Equal(t, "+001730", offset(1050)) // RFC 5545, section 3.3.14: seconds may follow
	require.Equal(t, "+0000", offset(0))
}

// An alarm from the end says so (RFC 5545, section 3.2.14), and the
// independent reader sees it.
func TestAlarmFromEnd(t *testing.T) {
	at := time.Date(2026, 7, 13, 8, 0, 0, 0, time.UTC)
	out := asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", Start: at, End: at.Add(24 * time.Hour), Alarms: []report.Alarm{{}, {FromEnd: true, Text: "open"}}}))
	require.Contains(t, out, "\r\nTRIGGER:PT0S\r\n")
	require.Contains(t, out, "\r\nDESCRIPTION:open\r\nTRIGGER;RELATED=END:PT0S\r\n")
	cal, err := ical.ParseCalendar(strings.NewReader(out))
	require.NoError(t, err)
	trigger := cal.Events()[0].Alarms()[1].GetProperty(ical.ComponentPropertyTrigger)
	require.Equal(t, []string{"END"}, trigger.ICalParameters["RELATED"])
	// 07:00 of the last day, counted back from the end of a whole-day event.
	day := civil.MustParse("2026-07-13")
	out = asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", First: day, Last: day.AddDays(2), Alarms: []report.Alarm{{FromEnd: true, Offset: -17 * time.Hour}}}))
	require.Contains(t, out, "DTEND;VALUE=DATE:20260716\r\n")
	require.Contains(t, out, "TRIGGER;RELATED=END:-PT17H\r\n")
}
