package round

// Task is one thing to look at, with what it takes and what leaving it costs.
type Task struct {
	Minutes int     // whole minutes, set-up included
	Risk    float64 // chance of passing the level unseen times what waiting costs
	Must    bool    // looked at whatever its risk is, for instance where that is unknown
}

// Choose returns which tasks to keep within the minutes, so that the risk of
// those left out is the least there is. Tasks that must be done come first:
// the others share what those leave. Where the musts alone do not fit, all of
// them are kept, nothing else is, and over says by how many minutes they
// exceed the budget. Among equal choices the earlier tasks are kept.
func Choose(tasks []Task, minutes int) (keep []bool, over int) {
	keep = make([]bool, len(tasks))
	left, room := minutes, 0
	for i, t := range tasks {
		if t.Must {
			keep[i] = true
			left -= t.Minutes
		} else {
			room += t.Minutes
		}
	}
	if left < 0 {
		return keep, -left
	}
	left = min(left, room) // a day has fewer minutes than a careless budget
	// most[i][m] is the most risk that tasks i, i+1, ... can take away in m minutes.
	most := make([][]float64, len(tasks)+1)
	most[len(tasks)] = make([]float64, left+1)
	for i := len(tasks) - 1; i >= 0; i-- {
		t := tasks[i]
		most[i] = make([]float64, left+1)
		for m := range most[i] {
			most[i][m] = most[i+1][m]
			if !t.Must && t.Minutes <= m {
				most[i][m] = max(most[i][m], t.Risk+most[i+1][m-t.Minutes])
			}
		}
	}
	for i, t := range tasks {
		if !t.Must && t.Minutes <= left && t.Risk+most[i+1][left-t.Minutes] >= most[i+1][left] {
			keep[i] = true
			left -= t.Minutes
		}
	}
	return keep, 0
}
