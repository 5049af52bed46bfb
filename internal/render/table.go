package render

import (
	"fmt"
	"strings"

	"leafturn/internal/report"
)

const columnGap = 2

// grid is a table in words: what stands in each cell, and the reasons of
// unknown cells that are too long to stand there.
type grid struct {
	heads [][2]string // title, unit
	rows  [][]string
	right []bool
	notes []string
}

// table prints a table under light rules. Text columns are narrowed by
// wrapping until the table fits; when it still does not, every row is
// printed as a block of its own.
func (p *printer) table(t *report.Table) {
	if t.Title != "" {
		p.para("", 0, clean(t.Title), bold)
		p.blank()
	}
	if len(t.Rows) == 0 {
		p.para("", 0, "(nothing to show)", dim)
		return
	}
	g := p.grid(t)
	widths, ok := g.fit(p.width)
	if !ok {
		p.records(t, g)
		return
	}
	p.columns(g, widths)
	for _, n := range g.notes {
		label, text, _ := strings.Cut(n, " ")
		p.para(pad(label, 4, false), 4, text, dim)
	}
}

func (p *printer) grid(t *report.Table) *grid {
	g := &grid{}
	labels := map[string]string{} // reason → (a), (b), ...
	for _, row := range t.Rows {
		g.rows = append(g.rows, make([]string, len(row)))
	}
	for c, col := range t.Columns {
		g.heads = append(g.heads, [2]string{clean(col.Title), clean(col.Unit)})
		numeric, room := 0, max(longestWord(col.Title), longestWord(col.Unit))
		for r, row := range t.Rows {
			if row[c].Kind() == report.KindUnknown {
				continue
			}
			g.rows[r][c] = hold(valueWords(row[c], t.Decimals(c), p.asOf))
			room = max(room, width(g.rows[r][c]))
			switch row[c].Kind() {
			case report.KindNumber, report.KindCount, report.KindPercent:
				numeric++
			case report.KindText, report.KindChance, report.KindDate:
				numeric--
			}
		}
		g.right = append(g.right, col.Align == report.AlignRight || col.Align == report.AlignAuto && numeric > 0)
		for r, row := range t.Rows {
			if v := row[c]; v.Kind() == report.KindUnknown {
				g.rows[r][c] = unknownCell(v, room)
			}
		}
	}
	// Letter the long reasons in the order in which they are read.
	for r, row := range t.Rows {
		for c, v := range row {
			if g.rows[r][c] != longReason {
				continue
			}
			why := clean(v.Reason())
			if labels[why] == "" {
				labels[why] = "(" + letters(len(labels)) + ")"
				g.notes = append(g.notes, labels[why]+" "+why)
			}
			g.rows[r][c] = "–" + nbsp + labels[why]
		}
	}
	return g
}

const longReason = "\x00" // cannot come out of clean

// unknownCell returns what stands for an unknown value in a column of room
// cells: its own short words, its reason if that fits, or longReason.
func unknownCell(v report.Value, room int) string {
	if v.Words() != "" {
		return clean(v.Words())
	}
	if why := clean(v.Reason()); width(why) <= room {
		return why
	}
	return longReason
}

// letters returns a, b, ... z, aa, ab, ... for 0, 1, ...
func letters(n int) string {
	s := string(rune('a' + n%26))
	if n >= 26 {
		return letters(n/26-1) + s
	}
	return s
}

func longestWord(s string) int {
	n := 0
	for _, w := range strings.Split(s, " ") {
		n = max(n, width(w))
	}
	return n
}

// fit chooses the column widths for a line of total cells, and false when
// even the narrowest columns do not fit.
func (g *grid) fit(total int) ([]int, bool) {
	const narrowest = 8 // do not wrap words of this width or less
	n := len(g.heads)
	least, want := make([]int, n), make([]int, n)
	sum, leastSum := columnGap*(n-1), columnGap*(n-1)
	for c, h := range g.heads {
		least[c] = max(longestWord(h[0]), longestWord(h[1]), 1)
		want[c] = least[c]
		for _, row := range g.rows {
			want[c] = max(want[c], width(row[c]))
			word := longestWord(row[c])
			if !g.right[c] && !strings.Contains(row[c], "://") { // may be broken
				word = min(word, max(narrowest, total/5))
			}
			least[c] = max(least[c], word)
		}
		sum += want[c]
		leastSum += least[c]
	}
	if leastSum > total {
		return nil, false
	}
	for sum > total { // take a cell from the column that can spare most
		widest := -1
		for c := range want {
			if want[c] > least[c] && (widest < 0 || want[c] > want[widest]) {
				widest = c
			}
		}
		want[widest]--
		sum--
	}
	for c, h := range g.heads { // spare room keeps long headers on one line
		for _, s := range h {
			if more := width(s) - want[c]; more > 0 && sum+more <= total {
				want[c] += more
				sum += more
			}
		}
	}
	return want, true
}

// columns prints the table with its header: title above unit, both standing
// on the rule.
func (p *printer) columns(g *grid, widths []int) {
	var heads [][]string
	for c, h := range g.heads {
		lines := wrap(h[0], widths[c])
		if h[1] != "" {
			lines = append(lines, wrap(h[1], widths[c])...)
		}
		heads = append(heads, lines)
	}
	tall := 0
	for _, h := range heads {
		tall = max(tall, len(h))
	}
	for c := range heads { // stand on the rule
		heads[c] = append(make([]string, tall-len(heads[c])), heads[c]...)
	}
	p.tableLines(heads, widths, g.right, bold)
	rules := make([][]string, len(widths))
	for c, w := range widths {
		rules[c] = []string{strings.Repeat("-", w)}
	}
	p.tableLines(rules, widths, g.right, dim)
	for _, row := range g.rows {
		lines := make([][]string, len(row))
		for c, s := range row {
			lines[c] = wrap(s, widths[c])
		}
		p.tableLines(lines, widths, g.right, plain)
	}
}

// tableLines prints one row of cells, each of some lines.
func (p *printer) tableLines(lines [][]string, widths []int, right []bool, st style) {
	tall := 1
	for _, l := range lines {
		tall = max(tall, len(l))
	}
	for i := range tall {
		var b strings.Builder
		for c, l := range lines {
			s := ""
			if i < len(l) {
				s = l[i]
			}
			b.WriteString(pad(s, widths[c], right[c]) + strings.Repeat(" ", columnGap))
		}
		p.out.WriteString(p.paint(strings.TrimRight(loosen(b.String()), " "), st))
		p.blank()
	}
}

// records prints each row as lines of "title (unit): value", with the reason
// of every unknown in its place.
func (p *printer) records(t *report.Table, g *grid) {
	for r, row := range g.rows {
		if r > 0 {
			p.blank()
		}
		for c, s := range row {
			if v := t.Rows[r][c]; v.Kind() == report.KindUnknown {
				s = valueWords(v, 0, p.asOf)
			}
			if s == "" {
				continue
			}
			head := g.heads[c][0]
			if u := g.heads[c][1]; u != "" {
				head = fmt.Sprintf("%s (%s)", head, u)
			}
			indent := min(2*c, 2)
			p.para(strings.Repeat(" ", indent), indent, head+": "+s, plain)
		}
	}
}
