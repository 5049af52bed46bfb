package app

// ImportData is what `import` read and stored, or would store with --check.
type ImportData struct {
	Check bool         `json:"check"`
	Files []ImportFile `json:"files"`
}

// ImportFile is one file.
type ImportFile struct {
	File      string          `json:"file"`
	Kind      string          `json:"kind"`
	Encoding  string          `json:"encoding"`
	Separator string          `json:"separator"`
	Sheet     string          `json:"sheet"`
	Dates     string          `json:"dates"`
	Blank     string          `json:"blank"`
	HeadRow   int             `json:"heading_row"`
	Columns   []ImportColumn  `json:"columns"`
	Rows      int             `json:"rows"`
	Totals    int             `json:"totals_rows"`
	NoCount   int             `json:"rows_without_count"`
	Repeated  int             `json:"repeated_units"`
	NotLooked int             `json:"units_not_looked_at"`
	Blanks    int             `json:"blank_counts"`
	Visits    int             `json:"visits"`
	Units     int             `json:"units"`
	New       int             `json:"new_visits"`
	Already   int             `json:"already_stored"`
	Twice     int             `json:"in_file_before"`
	TakenOut  int             `json:"taken_out"`
	First     *int64          `json:"first_visit"`
	Last      *int64          `json:"last_visit"`
	Problems  []ImportProblem `json:"problems"`
	Rest      string          `json:"rest_file"`
	RestRows  int             `json:"rest_rows"`
}

// ImportColumn is how a column is read.
type ImportColumn struct {
	Column  string `json:"column"`
	Heading string `json:"heading"`
	Role    string `json:"role"`
	Stated  bool   `json:"stated"`
	Example string `json:"example"`
}

// ImportProblem is one thing that is wrong.
type ImportProblem struct {
	Row      int      `json:"row"`
	Column   string   `json:"column"`
	Heading  string   `json:"heading"`
	Value    string   `json:"value"`
	Problem  string   `json:"problem"`
	Remedy   string   `json:"remedy"`
	AlsoRows []string `json:"also_rows"`
}
