package assess

import "strconv"

// CourseMost is how many visits a Course shows at most.
const CourseMost = 8

// CourseKey says what the signs of a Course mean.
const CourseKey = "one sign a visit: . none found, 0 to 9 tenths of today's action level, # at or over it, x not valid"

// course is the season in signs, oldest visit first, against the action level
// behind the verdict: of the random visits in the deciding measure, the last
// ones. It is "" where there is no such level, or where there are fewer than
// two visits.
func (a *Assessment) course() string {
	d := a.Decider
	if d == nil || d.Act == nil || d.Act.Operator == "none" || d.Act.Value <= 0 {
		return ""
	}
	var signs []byte
	for i := range a.Readings {
		r := &a.Readings[i]
		if r.Unit.Measure != d.Unit.Measure {
			continue
		}
		signs = append(signs, r.sign(*d.Act))
	}
	if len(signs) < 2 {
		return ""
	}
	return string(signs[max(0, len(signs)-CourseMost):])
}

func (r *Reading) sign(act Level) byte {
	switch {
	case !r.Valid():
		return 'x'
	case r.Value == 0:
		return '.'
	case r.Value > act.Value || r.Value == act.Value && act.Operator != ">":
		return '#'
	}
	return strconv.Itoa(min(int(10*r.Value/act.Value), 9))[0]
}
