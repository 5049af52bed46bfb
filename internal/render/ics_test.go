package render

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ical "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func asICS(t require.TestingT, d report.Document) string {
	var b bytes.Buffer
	require.NoError(t, ICS(&b, d))
	return b.String()
}

func oneEvent(e report.Event) report.Document {
	return report.Document{Title: "t", AsOf: civil.MustParse("2007-06-01"), Made: time.Date(2007, 4, 23, 12, 34, 32, 0, time.UTC), Events: []report.Event{e}}
}

// unfold undoes folding: CRLF and one white space are removed (RFC 5545,
// section 3.1).
func unfold(s string) string {
	return strings.NewReplacer("\r\n ", "", "\r\n\t", "").Replace(s)
}

func TestICSGolden(t *testing.T) {
	out := asICS(t, sampleWeek())
	golden(t, "week.ics", []byte(out))
	require.Equal(t, out, asICS(t, sampleWeek()))
	require.NotContains(t, out, "METHOD")
	require.Equal(t, strings.Count(out, "\n"), strings.Count(out, "\r\n"), "every line ends CRLF")
	require.Equal(t, strings.Count(out, "\r"), strings.Count(out, "\r\n"))
}

// RFC 5545, section 3.6.1: the event of 28 June to 8 July 2007 inclusive has
// "DTEND;VALUE=DATE:20070709"; the summary and UID are that example's.
func TestAllDayExampleOfRFC5545(t *testing.T) {
	out := asICS(t, oneEvent(report.Event{UID: "20070423T123432Z-541111@example.com", Summary: "Festival International de Jazz de Montreal",
		First: civil.MustParse("2007-06-28"), Last: civil.MustParse("2007-07-08"), Transparent: true}))
	for _, line := range []string{
		"UID:20070423T123432Z-541111@example.com", "DTSTAMP:20070423T123432Z", "DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709",
		"SUMMARY:Festival International de Jazz de Montreal", "TRANSP:TRANSPARENT",
	} {
		require.Contains(t, out, "\r\n"+line+"\r\n")
	}
	// A single day ends on the next; the last day of a leap February too.
	require.Contains(t, asICS(t, oneEvent(report.Event{UID: "a", Summary: "s", First: civil.MustParse("2028-02-29")})), "DTEND;VALUE=DATE:20280301\r\n")
}

func TestEscapeText(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		// RFC 5545, section 3.3.11, the section's own example.
		{"Project XYZ Final Review\nConference Room - 3B\nCome Prepared.", `Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`},
		{`a\b`, `a\\b`}, {"a;b,c", `a\;b\,c`}, {"08:30 \"x\"", "08:30 \"x\""}, // colon and quote are not escaped
		{"a\r\nb\rc", `a\nb\nc`}, {"tab\there", "tab\there"}, {"bell\a\x7f", "bell"}, {"\xff", "\uFFFD"},
	} {
		require.Equal(t, c.want, escapeText(c.in), "%q", c.in)
	}
}

func TestFold(t *testing.T) {
	// At 75 octets a line stands, at 76 it is folded (RFC 5545, section 3.1).
	require.Equal(t, strings.Repeat("x", 75)+"\r\n", fold(strings.Repeat("x", 75)))
	require.Equal(t, strings.Repeat("x", 75)+"\r\n x\r\n", fold(strings.Repeat("x", 76)))
	// The space counts in the 75 of the next line.
	require.Equal(t, strings.Repeat("x", 75)+"\r\n "+strings.Repeat("x", 74)+"\r\n x\r\n", fold(strings.Repeat("x", 150)))
	// "°" is two octets, "–" three: neither is split.
	require.Equal(t, strings.Repeat("x", 74)+"\r\n °\r\n", fold(strings.Repeat("x", 74)+"°"))
	require.Equal(t, strings.Repeat("x", 73)+"\r\n –\r\n", fold(strings.Repeat("x", 73)+"–"))
	// RFC 5545, section 3.1, the section's own example unfolds to one line.
	require.Equal(t, "DESCRIPTION:This is a long description that exists on a long line.\r\n",
		unfold("DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"))
}

func checkFolded(t require.TestingT, out string) {
	for _, l := range strings.Split(strings.TrimSuffix(out, "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(l), 75)
		require.True(t, utf8.ValidString(l), "split inside a character: %q", l)
	}
}

func TestFoldProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringN(0, 400, -1).Draw(t, "s")
		s = strings.NewReplacer("\r", "", "\n", "").Replace(s)
		out := fold(s)
		require.Equal(t, s+"\r\n", unfold(out))
		checkFolded(t, out)
	})
}

func TestDuration(t *testing.T) {
	for _, c := range []struct {
		d    time.Duration
		want string
	}{
		{0, "PT0S"}, {7 * time.Hour, "PT7H"}, {-6 * time.Hour, "-PT6H"}, {-15 * time.Minute, "-PT15M"}, {5 * time.Minute, "PT5M"},
		{12 * time.Hour, "PT12H"}, {7 * 24 * time.Hour, "P7D"}, {-30 * time.Hour, "-P1DT6H"},
		{15*24*time.Hour + 5*time.Hour + 20*time.Second, "P15DT5H0M20S"}, // RFC 5545, section 3.3.6, the section's own example
		{90 * time.Second, "PT1M30S"}, {45 * time.Second, "PT45S"},
	} {
		require.Equal(t, c.want, duration(c.d, true))
	}
	require.Equal(t, "PT7H", duration(report.AlarmAt(0, 7, 0).Offset, true))
	require.Equal(t, "-PT6H", duration(report.AlarmAt(-1, 18, 0).Offset, true))
	require.Equal(t, "-PT5H30M", duration(report.AlarmAt(-1, 18, 30).Offset, true))
	// Instants: "days are nominal" there (RFC 5545, section 3.3.6), so hours.
	require.Equal(t, "PT48H", duration(48*time.Hour, false))
	require.Equal(t, "-PT30H0M5S", duration(-30*time.Hour-5*time.Second, false))
	require.Equal(t, "PT0S", duration(0, false))
}

func TestInstantsAreUTC(t *testing.T) {
	zone := time.FixedZone("", -7*3600)
	e := report.Event{UID: "a", Summary: "s", Start: time.Date(2026, 7, 13, 19, 30, 0, 0, zone), End: time.Date(2026, 7, 14, 7, 30, 0, 0, zone)}
	out := asICS(t, oneEvent(e))
	require.Contains(t, out, "DTSTART:20260714T023000Z\r\nDTEND:20260714T143000Z\r\n")
	for _, end := range []time.Time{{}, e.Start, e.Start.Add(300 * time.Millisecond)} {
		e.End = end
		require.NotContains(t, asICS(t, oneEvent(e)), "DTEND", "an event without length has no end")
	}
}

func TestICSRefuses(t *testing.T) {
	none := sampleWeek()
	none.Events = nil
	require.ErrorIs(t, ICS(&bytes.Buffer{}, none), ErrNoEvents)
	undated := oneEvent(report.Event{UID: "a", Summary: "s", First: civil.MustParse("2026-07-13")})
	undated.Made = time.Time{}
	require.ErrorContains(t, ICS(&bytes.Buffer{}, undated), "does not say when it last changed")
	undated.Events[0].Revised = time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	require.Contains(t, asICS(t, undated), "DTSTAMP:20260102T030405Z")
}

// An independent reader (github.com/arran4/golang-ical) understands what is
// written as it was meant.
func TestIndependentReader(t *testing.T) {
	doc := sampleWeek()
	cal, err := ical.ParseCalendar(strings.NewReader(asICS(t, doc)))
	require.NoError(t, err)
	require.Len(t, cal.Events(), len(doc.Events))
	for i, got := range cal.Events() {
		sameEvent(t, doc.Events[i], got)
	}
	first := cal.Events()[0]
	require.Len(t, first.Alarms(), 2)
	require.Equal(t, "PT7H", first.Alarms()[0].GetProperty(ical.ComponentPropertyTrigger).Value)
	require.Equal(t, "DISPLAY", first.Alarms()[0].GetProperty(ical.ComponentPropertyAction).Value)
	require.Equal(t, "CANCELLED", cal.Events()[2].GetProperty(ical.ComponentPropertyStatus).Value)
	require.Equal(t, "2", cal.Events()[1].GetProperty(ical.ComponentPropertySequence).Value)
}

func sameEvent(t require.TestingT, want report.Event, got *ical.VEvent) {
	prop := func(p ical.ComponentProperty) string {
		if x := got.GetProperty(p); x != nil {
			return x.Value
		}
		return ""
	}
	require.Equal(t, want.UID, got.Id())
	require.Equal(t, want.Summary, prop(ical.ComponentPropertySummary))
	require.Equal(t, want.Description, prop(ical.ComponentPropertyDescription))
	require.Equal(t, want.Location, prop(ical.ComponentPropertyLocation))
	if want.AllDay() {
		start, err := got.GetAllDayStartAt()
		require.NoError(t, err)
		end, err := got.GetAllDayEndAt()
		require.NoError(t, err)
		require.Equal(t, want.First.String(), start.Format(civil.Layout))
		require.Equal(t, want.EndDay().String(), end.Format(civil.Layout))
		return
	}
	start, err := got.GetStartAt()
	require.NoError(t, err)
	require.True(t, want.Start.Equal(start))
}

// Whatever stands in the texts, the lines fold rightly and the independent
// reader gets the same texts and dates back.
func TestCalendarRoundTripProperty(t *testing.T) {
	txt := rapid.StringMatching(`[A-Za-z0-9 ,;:"'\\/°–é雪🐌\n-]{1,160}`)
	rapid.Check(t, func(t *rapid.T) {
		e := report.Event{UID: rapid.StringMatching(`[a-z0-9-]{1,90}@farm\.invalid`).Draw(t, "uid"), Summary: txt.Draw(t, "summary"), Description: txt.Draw(t, "description"), Location: txt.Draw(t, "location"),
			First: civil.MustParse("2026-01-01").AddDays(rapid.IntRange(0, 2000).Draw(t, "day"))}
		e.Last = e.First.AddDays(rapid.IntRange(0, 400).Draw(t, "days"))
		out := asICS(t, oneEvent(e))
		checkFolded(t, out)
		cal, err := ical.ParseCalendar(strings.NewReader(out))
		require.NoError(t, err)
		require.Len(t, cal.Events(), 1)
		sameEvent(t, e, cal.Events()[0])
	})
}
