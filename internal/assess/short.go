package assess

import (
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// Short is what a week's list takes from a brief Assessment, as plain data that
// can be kept between runs.
type Short struct {
	Result     verdict.Result
	Decider    *ShortReading
	Earlier    *ShortReading
	HotSpot    *ShortReading // the last one
	HotSpotAct bool
	Course     string
	Prey       *float64
	EnemyName  string
	EnemyRef   Ref
	ToConfirm  *ToConfirm
	Asked      []NotedDay
}

// ShortReading is a Reading without its visit, which is told by its number, and
// without the belief.
type ShortReading struct {
	Visit             int64
	N                 int
	Value, Low, High  float64
	Max, Infested     float64
	Density           *ShortDensity
	Share             *estimate.Share
	Alone             bool
	LikelyL, LikelyH  float64
	Invalid, Cautions []string
	Act, Watch        ShortLevel
	Nearest           bool
	Chance, ChanceW   float64
	ChanceThen        float64
}

// ShortDensity is an estimate.Density of a visit.
type ShortDensity struct {
	N, Total, Zeros, Max   int
	Mean, Low, High, Level float64
	PropInfested           float64
	PropLow, PropHigh      float64
	K                      float64
	KSource, Method        string
	Outlier                bool
	OutlierUnit            int
}

// ShortLevel is the place of a level among those of the pest, from 1 on, or a
// level of its own; the zero value is none.
type ShortLevel struct {
	Place int
	Own   *Level
}

// Short shortens a brief assessment.
func (a *Assessment) Short() Short {
	s := Short{Result: a.Result, Decider: a.shorten(a.Decider), Earlier: a.shorten(a.Earlier), HotSpotAct: a.HotSpotAct, Course: a.Course,
		Prey: a.Prey, EnemyName: a.EnemyName, EnemyRef: a.EnemyRef, ToConfirm: a.ToConfirm, Asked: a.Asked}
	if n := len(a.HotSpots); n > 0 {
		s.HotSpot = a.shorten(&a.HotSpots[n-1])
	}
	return s
}

func (a *Assessment) shorten(r *Reading) *ShortReading {
	if r == nil {
		return nil
	}
	s := &ShortReading{Visit: r.Visit.ID, N: r.N, Value: r.Value, Low: r.Low, High: r.High, Max: r.Max, Infested: r.Infested, Share: r.Share, Alone: r.Alone,
		LikelyL: r.LikelyL, LikelyH: r.LikelyH, Invalid: r.Invalid, Cautions: r.Cautions, Act: a.shortLevel(r.Act), Watch: a.shortLevel(r.Watch),
		Nearest: r.Nearest != nil, Chance: r.Chance, ChanceW: r.ChanceW, ChanceThen: r.ChanceThen}
	if d := r.Density; d != nil {
		s.Density = &ShortDensity{d.N, d.Total, d.Zeros, d.Max, d.Mean, d.Low, d.High, d.Level, d.PropInfested, d.PropLow, d.PropHigh, d.K, d.KSource, d.Method, d.Outlier, d.OutlierUnit}
	}
	return s
}

func (a *Assessment) shortLevel(l *Level) ShortLevel {
	if l == nil {
		return ShortLevel{}
	}
	for i := range a.Pest.Levels {
		if l == &a.Pest.Levels[i] {
			return ShortLevel{Place: i + 1}
		}
	}
	return ShortLevel{Own: l}
}

// Restore is the brief assessment of in that was shortened: Readings and
// HotSpots hold only those that are named in it, without beliefs. ok is false
// where it is not of in.
func (s Short) Restore(in Input) (a Assessment, ok bool) {
	a = Assessment{Today: in.Today, Bed: in.Bed, Pest: in.Pest, Stage: in.Stage, StageSince: in.StageSince, InSeason: in.Pest.InSeason,
		Result: s.Result, HotSpotAct: s.HotSpotAct, Course: s.Course, Prey: s.Prey, EnemyName: s.EnemyName, EnemyRef: s.EnemyRef, ToConfirm: s.ToConfirm, Asked: s.Asked}
	for _, x := range a.Asked {
		if in.Noted == nil || !x.Conditions.Same(in.Noted(x.Bed, x.Day)) {
			return a, false
		}
	}
	ok = true
	restore := func(s *ShortReading, list *[]Reading) *Reading {
		if s == nil {
			return nil
		}
		r, is := s.restore(in)
		ok = ok && is
		*list = append(*list, r)
		return &(*list)[len(*list)-1]
	}
	a.Readings = make([]Reading, 0, 2) // what Earlier points to stays where it is
	a.Earlier = restore(s.Earlier, &a.Readings)
	a.Decider = restore(s.Decider, &a.Readings)
	restore(s.HotSpot, &a.HotSpots)
	return a, ok
}

func (s *ShortReading) restore(in Input) (r Reading, ok bool) {
	var v *farm.Visit
	for i := range in.Visits {
		if in.Visits[i].ID == s.Visit {
			v = &in.Visits[i]
		}
	}
	if v == nil {
		return r, false
	}
	u := in.Pest.unit(v.Unit)
	if u == nil {
		return r, false
	}
	u, ok = in.Beliefs.unitOn(u, v.Date), true
	r = Reading{Visit: v, Unit: u, N: s.N, Value: s.Value, Low: s.Low, High: s.High, Max: s.Max, Infested: s.Infested, Share: s.Share, Alone: s.Alone,
		LikelyL: s.LikelyL, LikelyH: s.LikelyH, Invalid: s.Invalid, Cautions: s.Cautions, Chance: s.Chance, ChanceW: s.ChanceW, ChanceThen: s.ChanceThen}
	if d := s.Density; d != nil {
		r.Density = &estimate.Density{N: d.N, Total: d.Total, Zeros: d.Zeros, Max: d.Max, Mean: d.Mean, Low: d.Low, High: d.High, Level: d.Level,
			PropInfested: d.PropInfested, PropLow: d.PropLow, PropHigh: d.PropHigh, K: d.K, KSource: d.KSource, Method: d.Method, Outlier: d.Outlier, OutlierUnit: d.OutlierUnit}
	}
	for _, x := range []struct {
		from ShortLevel
		to   **Level
	}{{s.Act, &r.Act}, {s.Watch, &r.Watch}} {
		switch p := x.from; {
		case p.Own != nil:
			*x.to = p.Own
		case p.Place < 0 || p.Place > len(in.Pest.Levels):
			ok = false
		case p.Place > 0:
			*x.to = &in.Pest.Levels[p.Place-1]
		}
	}
	if s.Nearest {
		r.Nearest = nearestLevels(in.Pest.Levels, u.Measure)
	}
	return r, ok
}
