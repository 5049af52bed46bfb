package plots

import "leafturn/internal/civil"

// Span is a run of days, the first and the last included. Why says what it
// stands for in a few words; it may be empty.
type Span struct {
	From, To civil.Date
	Why      string
}

// BloomRow is one companion plant of a BloomCalendar.
type BloomRow struct {
	Plant string
	Grade string       // of the evidence, such as "B"; may be empty
	Sow   []civil.Date // each day of sowing
	Bloom []Span       // several when it is resown
	// Unknown says why the bloom, or part of it, is not known; "" is known.
	Unknown string
}

// BloomNeed is a pest with the days on which its natural enemies are needed.
type BloomNeed struct {
	Pest  string
	Spans []Span
}

// BloomCalendar shows when each companion plant is sown and in bloom, when
// which pest's natural enemies need its nectar, and the gaps: days on which
// nectar is needed and there is none, or on which nothing blooms at all.
type BloomCalendar struct {
	Title    string // "" is "Bloom calendar" with the year
	Year     int
	From, To civil.Date // season to show; widened to hold all days
	Source   string
	Rows     []BloomRow  // plants, top to bottom
	Needed   []BloomNeed // pests whose natural enemies are needed
	Gaps     []Span
}
