package sampling

// Deciding returns the lines from the least units on, up to the first at which
// every total decides. The zero Plan has none.
func (p Plan) Deciding() []Line {
	if len(p.Lines) == 0 {
		return nil
	}
	lines := p.Lines[p.Question.MinUnits-1:]
	for i, l := range lines {
		if l.CanHold() && l.CanAct() && l.Act <= l.Hold+1 {
			return lines[:i+1]
		}
	}
	return lines
}

// Sheet is a table of stop lines for paper.
type Sheet struct {
	Rows []Line
	// Gaps: the total is looked up at the rows only, and between them one goes
	// on. Without, a row holds until the next, and nothing of the plan is lost.
	Gaps             bool
	AtSafe, AtAction Risk // exact, for the sheet as it is used
}

// Sheet returns the first and the last deciding row and every row between at
// which a line changes; where that makes more than most rows (3 or more), the
// rows at every second, fifth, tenth, ... unit.
func (p Plan) Sheet(most int) Sheet {
	lines := p.Deciding()
	if len(lines) == 0 {
		return Sheet{}
	}
	last := len(lines) - 1
	pick := func(keep func(i int) bool) (rows []Line) {
		for i, l := range lines {
			if i == 0 || i == last || keep(i) {
				rows = append(rows, l)
			}
		}
		return rows
	}
	rows := pick(func(i int) bool { return lines[i].Hold != lines[i-1].Hold || lines[i].Act != lines[i-1].Act })
	if len(rows) <= most {
		return Sheet{Rows: rows, AtSafe: p.riskOf(p.Lines, p.Safe, 1), AtAction: p.riskOf(p.Lines, p.Action, 1)}
	}
	for _, step := range []int{2, 5, 10, 20, 50, 100, mostUnits} {
		if rows = pick(func(i int) bool { return lines[i].N%step == 0 }); len(rows) <= most {
			break
		}
	}
	looked := make([]Line, lines[last].N)
	for i := range looked {
		looked[i] = Line{i + 1, -1, Never}
	}
	for _, r := range rows {
		looked[r.N-1] = r
	}
	return Sheet{rows, true, p.riskOf(looked, p.Safe, 1), p.riskOf(looked, p.Action, 1)}
}
