package round

// Task is one thing to look at, with what it takes and what leaving it costs.
type Task struct {
	Minutes int     // whole minutes, set-up included
	Risk    float64 // what leaving it costs
}

// Choose returns which tasks to keep within the minutes, so that the risk of
// those left out is the least there is. Among equal choices the earlier tasks
// are kept.
func Choose(tasks []Task, minutes int) []bool {
	keep := make([]bool, len(tasks))
	room := 0
	for _, t := range tasks {
		room += t.Minutes
	}
	left := max(0, min(minutes, room)) // a day has fewer minutes than a careless budget
	// most[i][m] is the most risk that tasks i, i+1, ... can take away in m minutes.
	most := make([][]float64, len(tasks)+1)
	most[len(tasks)] = make([]float64, left+1)
	for i := len(tasks) - 1; i >= 0; i-- {
		t := tasks[i]
		most[i] = make([]float64, left+1)
		for m := range most[i] {
			most[i][m] = most[i+1][m]
			if t.Minutes <= m {
				most[i][m] = max(most[i][m], t.Risk+most[i+1][m-t.Minutes])
			}
		}
	}
	for i, t := range tasks {
		if t.Minutes <= left && t.Risk+most[i+1][left-t.Minutes] >= most[i+1][left] {
			keep[i] = true
			left -= t.Minutes
		}
	}
	return keep
}
