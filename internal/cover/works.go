package cover

import (
	"cmp"
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// Task is a kind of work that a plan asks for.
type Task string

// The tasks, in the order in which they are done.
const (
	BuySeed  Task = "buy"   // seed of one crop, for all its beds
	SowIt    Task = "sow"   // the first sowing
	SowAgain Task = "resow" // a later sowing
	LookAt   Task = "look"  // is there a stand?
	EndIt    Task = "end"   // mow, cut or turn in
	BuryIt   Task = "bury"  // a biofumigant: chop, turn in at once, seal
	WaitFor  Task = "wait"  // nothing is sown or planted
	PlantOut Task = "plant" // dahlias
)

var taskOrder = []Task{BuySeed, SowIt, SowAgain, LookAt, EndIt, BuryIt, WaitFor, PlantOut}

// Days between works. Common practice.
const (
	buyBefore = 14 // seed is at hand this long before it is sown
	lookFrom  = 14 // after sowing
	lookTo    = 28
	inFlower  = 14 // a biofumigant is dug in within so many days
	endBefore = 14 // a cover over winter is kept until this long before its last day
	walkLimit = 366
)

// Work is one piece of work of a plan, for one bed or several.
type Work struct {
	Task   Task
	Beds   []string // sorted
	Window Stand    // "" for planting and for seed of both windows
	Cover  string   // id of a crop or of a mix; "" for planting
	Name   string
	// First and Last are the earliest and the latest day; First zero is any day
	// up to Last.
	First, Last civil.Date
	Sowing, Of  int        // which of how many sowings; Of 0 where it is none
	Seeds       []PartSeed // to sow or to buy, of all the beds
	WaitDays    int        // WaitFor: days from the end of the cover
	Next        Task       // WaitFor: what is waited for, SowIt or PlantOut
	SowBy       civil.Date // LookAt: until when gaps can be sown again; BuySeed: the first sowing
	Cold        []string   // EndIt: what winter may have done to it by then
}

// Works lists what the plan asks for in the order of the days. Works that are
// alike in everything but the bed are one.
//
// Sowing can be done from the earliest day that fits to the last on which the
// same use of the bed still fits with no new doubt about its stand. A cover
// before planting is ended in the last 14 days that it may stand, a rest-year
// crop from the day on which it is usable. buries tells the crops that are dug in
// fresh for their gas: a stand of the rest year sown in spring gives off enough of
// it, and within two weeks of the day on which it is usable, in flower.
//
// beds, site and rules are those of the plan; sown are covers that stand in the
// beds already.
func Works(p Plan, beds []Bed, site Site, rules Rules, buries func(crop string) bool, sown ...Sown) []Work {
	var out []Work
	late := map[string]civil.Date{} // planting after a rest-year crop that stands
	byCode := map[string]Bed{}
	for _, b := range beds {
		byCode[b.Code] = b
	}
	for _, x := range sown {
		b, ok := byCode[x.Bed]
		if !ok {
			continue
		}
		c := x.cell(b, site, rules)
		if c.rests() && !c.Fit.Choice.Kill.Before(b.PlantBy) {
			late[x.Bed] = b.lastDay(true)
		}
		out = append(out, cellWorks(c, b, site, rules, false, PlantOut, buries)...)
	}
	firstSow := map[string]civil.Date{}
	for _, bp := range p.Beds {
		b := byCode[bp.Bed]
		plant := b.PlantBy
		if d, ok := late[b.Code]; ok {
			plant = d
		}
		for _, c := range bp.Chosen() {
			after := c.rests() && bp.Winter.Key != None
			next := PlantOut
			if !c.rests() && bp.Rest.Key != None {
				next = SowIt
			}
			out = append(out, cellWorks(c, b, site, rules, after, next, buries)...)
			if c.rests() {
				plant = c.Fit.Choice.Plant
			}
			for _, part := range c.Option.Parts() {
				if d := firstSow[part.Crop.ID]; d.IsZero() || c.Fit.Choice.Sow.Before(d) {
					firstSow[part.Crop.ID] = c.Fit.Choice.Sow
				}
			}
		}
		out = append(out, Work{Task: PlantOut, Beds: []string{b.Code}, First: plant, Last: plant})
	}
	for _, n := range SeedList(p, beds, nil) {
		out = append(out, Work{
			Task: BuySeed, Beds: n.Beds, Cover: n.Crop.ID, Name: n.Crop.label(), Last: firstSow[n.Crop.ID].AddDays(-buyBefore), SowBy: firstSow[n.Crop.ID],
			Seeds: []PartSeed{{Crop: n.Crop, Share: 1, OK: n.OK, Seed: Seed{Kg: n.Kg, Lb: n.Lb, AreaM2: n.AreaM2}}},
		})
	}
	return inOrder(join(out))
}

// Sown is a cover that was sown by an earlier plan and still stands.
type Sown struct {
	Bed       string
	Option    Option
	Sow, Kill civil.Date // as that plan had them
}

// cell makes a choice of a cover that was sown. Its stand is that of the same
// sowing today; where that does not fit any more, it has no days to spare.
func (x Sown) cell(b Bed, site Site, rules Rules) Cell {
	at := b
	at.FreeFrom = x.Sow
	at.History = nil
	c := Cell{Option: x.Option, Key: x.Option.Key(), Fit: fit(x.Option, at, site, rules, false), Seeds: x.Option.seeds(b.AreaM2)}
	ch := &c.Fit.Choice
	if !c.Fit.OK || ch.Sow != x.Sow {
		c.Fit = Fit{}
		if len(x.Option.Mix) == 0 && x.Option.Crop.DaysToUsable != nil {
			ch.Ready = x.Sow.AddDays(*x.Option.Crop.DaysToUsable)
		}
	}
	ch.Sow, ch.Kill = x.Sow, x.Kill
	ch.Sowings = []Sowing{{x.Sow, ch.Ready, x.Kill}}
	return c
}

// cellWorks lists the works of one cover in one bed.
func cellWorks(c Cell, b Bed, site Site, rules Rules, after bool, next Task, buries func(string) bool) []Work {
	ch := c.Fit.Choice
	stand := BeforePlanting
	if c.rests() {
		stand = RestYear
	}
	base := Work{Beds: []string{b.Code}, Window: stand, Cover: c.Option.Crop.ID, Name: c.Option.Crop.label()}
	slack := latestSow(c, b, site, rules, after).Sub(ch.Sow)
	wait := 0
	bury := false
	for _, part := range c.Option.Parts() {
		if part.Crop.LeadDays != nil {
			wait = max(wait, *part.Crop.LeadDays)
		}
		bury = bury || c.rests() && ch.Window.Anchor == LF && buries != nil && buries(part.Crop.ID)
	}
	sowings := ch.Sowings
	if len(sowings) == 0 {
		sowings = []Sowing{{ch.Sow, ch.Ready, ch.Kill}}
	}
	var out []Work
	for i, s := range sowings {
		last := i == len(sowings)-1
		w := base
		w.Task, w.First, w.Last, w.Sowing, w.Of = SowIt, s.Sow, s.Sow.AddDays(slack), i+1, len(sowings)
		if i > 0 {
			w.Task = SowAgain
		}
		for _, seed := range c.Seeds {
			n := float64(len(sowings))
			seed.Seed.Kg, seed.Seed.Lb, seed.Seed.SowingsInAll = seed.Seed.Kg/n, seed.Seed.Lb/n, 1
			w.Seeds = append(w.Seeds, seed)
		}
		out = append(out, w)

		w = base
		w.Task, w.First, w.Last, w.Sowing, w.Of = LookAt, s.Sow.AddDays(lookFrom), earlier(s.Sow.AddDays(lookTo), s.Kill), i+1, len(sowings)
		w.SowBy = s.Sow.AddDays(slack)
		if !w.First.After(w.Last) {
			out = append(out, w)
		}

		w = base
		w.Task, w.Last, w.Sowing, w.Of = EndIt, s.Kill, i+1, len(sowings)
		if bury {
			w.Task, w.Last = BuryIt, earlier(s.Kill, s.Ready.AddDays(slack+inFlower))
		}
		switch {
		case !last:
			w.First = s.Kill
		case c.rests() && !s.Ready.After(s.Kill):
			w.First = s.Ready
		default:
			w.First = s.Kill.AddDays(-endBefore)
			if s.Ready.After(w.First) && !s.Ready.After(s.Kill) {
				w.First = s.Ready
			}
			if w.First.Before(s.Sow) {
				w.First = s.Sow
			}
		}
		for _, r := range c.Fit.Reasons {
			if r.Rule == "hardiness" && r.Kind == Warning {
				w.Cold = append(w.Cold, r.Text)
			}
		}
		ended := w.Last
		out = append(out, w)

		if wait > 0 {
			w = base
			w.Task, w.First, w.Last, w.WaitDays, w.Next = WaitFor, ended.AddDays(1), ended.AddDays(wait), wait, next
			if !last {
				w.Next = SowAgain
			}
			out = append(out, w)
		}
	}
	return out
}

// latestSow returns the last day on which the same use of the bed still fits,
// day by day from the earliest, with the same stand.
func latestSow(c Cell, b Bed, site Site, rules Rules, after bool) civil.Date {
	last := c.Fit.Choice.Sow
	weak := thin(c.Fit)
	for n := 1; n <= walkLimit; n++ {
		d := c.Fit.Choice.Sow.AddDays(n)
		at := b
		at.FreeFrom = d
		f := fit(c.Option, at, site, rules, after)
		if !f.OK || f.Choice.Sow != d || f.Choice.Slot != c.Fit.Choice.Slot || thin(f) && !weak {
			break
		}
		last = d
	}
	return last
}

// thin reports whether the stand is in doubt (R3).
func thin(f Fit) bool {
	return slices.ContainsFunc(f.Reasons, func(r Reason) bool { return r.Rule == "R3" && r.Kind == Warning })
}

// join makes one work of those that differ in the bed alone.
func join(works []Work) []Work {
	type key struct {
		task        Task
		window      Stand
		cover       string
		first, last civil.Date
		sowBy       civil.Date
		sowing, of  int
		wait        int
		next        Task
		cold        string
	}
	at := map[key]int{}
	var out []Work
	for _, w := range works {
		k := key{w.Task, w.Window, w.Cover, w.First, w.Last, w.SowBy, w.Sowing, w.Of, w.WaitDays, w.Next, strings.Join(w.Cold, "\n")}
		i, there := at[k]
		if !there {
			at[k] = len(out)
			w.Beds, w.Seeds = slices.Clone(w.Beds), slices.Clone(w.Seeds)
			out = append(out, w)
			continue
		}
		o := &out[i]
		o.Beds = append(o.Beds, w.Beds...)
		for j, s := range w.Seeds {
			t := &o.Seeds[j]
			t.OK = t.OK && s.OK
			t.Seed.Kg += s.Seed.Kg
			t.Seed.Lb += s.Seed.Lb
			t.Seed.AreaM2 += s.Seed.AreaM2
		}
	}
	for i := range out {
		slices.Sort(out[i].Beds)
	}
	return out
}

// inOrder sorts works by the day from which they can be done, then by the day
// by which they must be.
func inOrder(works []Work) []Work {
	from := func(w Work) civil.Date {
		if w.First.IsZero() {
			return w.Last
		}
		return w.First
	}
	slices.SortStableFunc(works, func(a, b Work) int {
		return cmp.Or(from(a).Compare(from(b)), a.Last.Compare(b.Last),
			cmp.Compare(slices.Index(taskOrder, a.Task), slices.Index(taskOrder, b.Task)),
			strings.Compare(a.Cover, b.Cover), slices.Compare(a.Beds, b.Beds))
	})
	return works
}
