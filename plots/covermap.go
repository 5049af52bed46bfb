package plots

import "leafturn/internal/civil"

// CoverBed is a bed of a CoverMap. X and Y are the metres from the south-west
// corner of the field to the south-west corner of the bed; EastM and NorthM
// are its sides along the field's own east and north.
type CoverBed struct {
	Code                string
	X, Y, EastM, NorthM float64
	Cover               string // name of the cover; "" is bare
	Short               string // the name where the bed is too small for it
	Sow, End            civil.Date
	Pinned              bool // the grower fixed the choice
	Untreated           bool // left bare on purpose, to compare with
	Rested              bool // no dahlias next year
	Unknown             bool // the choice rests on something not known
}

// CoverMap shows the beds to scale in place, each filled by the cover that is
// sown in it in one window of the year.
type CoverMap struct {
	Title   string // "" is "What is sown where"
	Window  string // such as "winter"
	AsOf    civil.Date
	Source  string
	Beds    []CoverBed
	NoPlace []string // codes of beds whose place is not known; listed at the foot
}
