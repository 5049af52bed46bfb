package ingest

import "strings"

// keyPlace is where a key of a TOML file stands; key "" is a table's heading.
type keyPlace struct {
	table    string // "" before the first heading
	index    int    // which [[table]], from 0
	key      string
	row, col int // of the key
	valRow   int
	valCol   int
	valStart int // rune offsets of the value
	valEnd   int
}

// tomlScanner walks a TOML text to find where its keys stand; the TOML
// decoder does not tell. It judges nothing: text that is no TOML gives
// whatever keys can be made out.
type tomlScanner struct {
	rs       []rune
	i        int
	row, col int
}

func (s *tomlScanner) more() bool { return s.i < len(s.rs) }

func (s *tomlScanner) at(text string) bool {
	for k, r := range []rune(text) {
		if s.i+k >= len(s.rs) || s.rs[s.i+k] != r {
			return false
		}
	}
	return true
}

func (s *tomlScanner) step(n int) {
	for ; n > 0 && s.more(); n-- {
		if s.rs[s.i] == '\n' {
			s.row, s.col = s.row+1, 0
		}
		s.i, s.col = s.i+1, s.col+1
	}
}

func (s *tomlScanner) skipBlanks() {
	for s.at(" ") || s.at("\t") {
		s.step(1)
	}
}

// upTo steps to the first of stops or the end of the line and returns what lay before.
func (s *tomlScanner) upTo(stops string) string {
	start := s.i
	for s.more() && s.rs[s.i] != '\n' && !strings.ContainsRune(stops, s.rs[s.i]) {
		s.step(1)
	}
	return string(s.rs[start:s.i])
}

// text steps over a string of any of the four kinds.
func (s *tomlScanner) text() {
	mark := string(s.rs[s.i])
	long := strings.Repeat(mark, 3)
	if s.at(long) {
		s.step(3)
		for s.more() && !s.at(long) {
			if mark == `"` && s.at(`\`) {
				s.step(1)
			}
			s.step(1)
		}
		s.step(3)
		for k := 0; k < 2 && s.at(mark); k++ {
			s.step(1)
		}
		return
	}
	s.step(1)
	for s.more() && !s.at(mark) && !s.at("\n") {
		if mark == `"` && s.at(`\`) {
			s.step(1)
		}
		s.step(1)
	}
	if s.at(mark) {
		s.step(1)
	}
}

// value steps over a value to the end of its line.
func (s *tomlScanner) value() {
	depth := 0
	for s.more() {
		switch r := s.rs[s.i]; {
		case r == '"' || r == '\'':
			s.text()
			continue
		case r == '[' || r == '{':
			depth++
		case r == ']' || r == '}':
			depth--
		case r == '#':
			s.upTo("")
			continue
		case r == '\n' && depth <= 0:
			return
		}
		s.step(1)
	}
}

// tomlKeys lists the keys and headings of a TOML text in order.
func tomlKeys(text string) []keyPlace {
	s := &tomlScanner{rs: []rune(text), row: 1, col: 1}
	var out []keyPlace
	table, count := "", map[string]int{}
	for s.more() {
		s.skipBlanks()
		switch {
		case !s.more():
		case s.at("\n"):
			s.step(1)
		case s.at("#"):
			s.upTo("")
		case s.at("["):
			array, h := s.at("[["), keyPlace{row: s.row, col: s.col, valRow: s.row, valCol: s.col}
			table = strings.TrimSpace(strings.Trim(s.upTo("#"), "[] \t"))
			if array {
				count[table]++
			}
			h.table, h.index = table, max(count[table]-1, 0)
			out = append(out, h)
		default:
			k := keyPlace{table: table, index: max(count[table]-1, 0), row: s.row, col: s.col}
			k.key = strings.Trim(s.upTo("="), " \t\"'")
			if !s.at("=") {
				continue // no key on this line
			}
			s.step(1)
			s.skipBlanks()
			k.valRow, k.valCol, k.valStart = s.row, s.col, s.i
			s.value()
			k.valEnd = s.i
			out = append(out, k)
		}
	}
	return out
}
