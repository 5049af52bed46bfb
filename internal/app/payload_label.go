package app

import (
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

func labelData(l farm.Label) LabelData {
	d := LabelData{
		Key: l.Key, Version: l.Version, Entered: l.Entered, Product: l.Product, Registration: field(l.Registration, ""),
		UseClass: field(l.UseClass, ""), SignalWord: field(l.SignalWord, ""), Actives: []LabelActive{}, Formulation: field(l.Formulation, ""),
		Organic: field(l.Organic, ""), Places: []LabelPlace{}, Pests: orEmpty(l.Pests), OtherPests: orEmpty(l.OtherPests), Method: field(l.Method, ""), Expiry: field(l.Expiry, ""),
		RateMin: field(l.RateMin, ""), RateMax: field(l.RateMax, ""), MinInterval: field(l.MinIntervalDays, "d"),
		ReapplyBy: field(l.ReapplyByDays, "d"), ReapplyWhen: field(l.ReapplyWhen, ""), MaxApplications: field(l.MaxApplications, ""),
		MaxInWindow: LabelWindow{State: string(stateOf(l.MaxInWindow.State))}, MaxAmount: field(l.MaxAmount, ""), MaxPer: l.MaxPer,
		REI: field(l.REIHours, "h"), PHI: field(l.PHIDays, "d"), Rainfast: field(l.RainfastH, "h"), MaxTemp: field(l.MaxTempC, "C"),
		MinTemp: field(l.MinTempC, "C"), MaxWind: field(l.MaxWindMS, "m/s"), Bees: field(l.Bees, ""), WaterBuffer: field(l.WaterBuffer, "m"),
		Animals: field(l.Animals, ""), KeepApart: []LabelApart{}, NoKeepApart: l.NoKeepApart, PPE: field(l.PPE, ""), Note: l.Note, Retired: l.Retired, RetiredWhy: l.RetiredWhy, Fields: []LabelEntry{}, Unknown: []LabelGap{},
	}
	if l.MinIntervalHours > 0 {
		d.MinInterval = field(farm.Value(l.MinIntervalHours), "h")
	}
	for _, a := range l.Actives {
		d.Actives = append(d.Actives, LabelActive{a.Name, a.Percent, field(a.Group, ""), field(a.Max, ""), field(a.GPerL, "g/L"), a.NoPercent})
	}
	for _, s := range l.Sites {
		d.Places = append(d.Places, labelPlace(s))
	}
	if w, ok := l.MaxInWindow.Get(); ok {
		d.MaxInWindow.Count, d.MaxInWindow.Days = &w.Count, &w.Days
	}
	for _, k := range l.KeepApart {
		d.KeepApart = append(d.KeepApart, LabelApart(k))
	}
	for _, q := range ingest.LabelQuestions(l) {
		e := LabelEntry{Key: q.Key, State: string(farm.NotRead)}
		switch {
		case q.Now == string(farm.NoneStated):
			e.State = q.Now
		case q.Now != "":
			e.State, e.Text = string(farm.IsStated), q.Now
		}
		d.Fields = append(d.Fields, e)
	}
	for _, g := range label.Check(l) {
		d.Unknown = append(d.Unknown, LabelGap(g))
	}
	return d
}

func labelPlace(s farm.LabelSite) LabelPlace {
	p := LabelPlace{string(s.Where), s.Crop, field(s.REIHours, "h"), field(s.RateMin, ""), field(s.RateMax, ""), field(s.MinIntervalDays, "d")}
	if s.MinIntervalHours > 0 {
		p.MinInterval = field(farm.Value(s.MinIntervalHours), "h")
	}
	return p
}

// LabelField is one field of a copy: its state, and the value when
// the label states one.
type LabelField struct {
	State string `json:"state"`
	Value any    `json:"value"`
	Unit  string `json:"unit"`
}

func field[T any](s farm.Stated[T], unit string) LabelField {
	f := LabelField{State: string(stateOf(s.State)), Unit: unit}
	if v, ok := s.Get(); ok {
		f.Value = v
		if q, ok := any(v).(units.Quantity); ok {
			f.Value, f.Unit = q.Value, q.Unit.Name
		}
	}
	return f
}

// stateOf names the zero state, which is unknown.
func stateOf(s farm.State) farm.State {
	if s == "" {
		return farm.NotRead
	}
	return s
}

// LabelActive is an active ingredient on a label.
type LabelActive struct {
	Name    string     `json:"name"`
	Percent float64    `json:"percent"`
	Group   LabelField `json:"group"`
	Max     LabelField `json:"max"`
	GPerL   LabelField `json:"g_per_l"`
	// NoPercent is true when the label was read and gives no percentage.
	NoPercent bool `json:"percent_none_stated"`
}

// LabelPlace is a site and crop on which a label allows its product.
type LabelPlace struct {
	Where string     `json:"where"`
	Crop  string     `json:"crop"`
	REI   LabelField `json:"rei"`

	RateMin     LabelField `json:"rate_min"`
	RateMax     LabelField `json:"rate_max"`
	MinInterval LabelField `json:"min_interval"`
}

// LabelApart is a material that a label keeps away from its product.
type LabelApart struct {
	Active string `json:"active"`
	Days   int    `json:"days"`
}

// LabelWindow is a rolling limit.
type LabelWindow struct {
	State string `json:"state"`
	Count *int   `json:"count"`
	Days  *int   `json:"days"`
}

// LabelData is one version of a copy.
type LabelData struct {
	Key             string        `json:"key"`
	Version         int           `json:"version"`
	Entered         civil.Date    `json:"entered"`
	Product         string        `json:"product"`
	Registration    LabelField    `json:"registration"`
	UseClass        LabelField    `json:"use_class"`
	SignalWord      LabelField    `json:"signal_word"`
	Actives         []LabelActive `json:"actives"`
	Formulation     LabelField    `json:"formulation"`
	Organic         LabelField    `json:"organic"`
	Places          []LabelPlace  `json:"places"`
	Pests           []string      `json:"pests"`
	OtherPests      []string      `json:"other_pests"`
	Method          LabelField    `json:"method"`
	Expiry          LabelField    `json:"expiry"`
	RateMin         LabelField    `json:"rate_min"`
	RateMax         LabelField    `json:"rate_max"`
	MinInterval     LabelField    `json:"min_interval"`
	ReapplyBy       LabelField    `json:"reapply_by"`
	ReapplyWhen     LabelField    `json:"reapply_when"`
	MaxApplications LabelField    `json:"max_applications"`
	MaxInWindow     LabelWindow   `json:"max_in_window"`
	MaxAmount       LabelField    `json:"max_amount"`
	MaxPer          string        `json:"max_per"`
	REI             LabelField    `json:"rei"`
	PHI             LabelField    `json:"phi"`
	Rainfast        LabelField    `json:"rainfast"`
	MaxTemp         LabelField    `json:"max_temp"`
	MinTemp         LabelField    `json:"min_temp"`
	MaxWind         LabelField    `json:"max_wind"`
	Bees            LabelField    `json:"bees"`
	WaterBuffer     LabelField    `json:"water_buffer"`
	Animals         LabelField    `json:"animals"`
	KeepApart       []LabelApart  `json:"keep_apart"`
	NoKeepApart     bool          `json:"keep_apart_none_stated"`
	PPE             LabelField    `json:"ppe"`
	Note            string        `json:"note"`
	Retired         civil.Date    `json:"retired"`
	RetiredWhy      string        `json:"retired_why"`
	Fields          []LabelEntry  `json:"fields"`
	Unknown         []LabelGap    `json:"still_unknown"`
}

// LabelEntry is one field of the label file, each of them in the order of the
// file: its state and its text, as `label set` takes it.
type LabelEntry struct {
	Key   string `json:"key"`
	State string `json:"state"`
	Text  string `json:"text"`
}

// LabelGap is a field that schedules need and that nobody has read.
type LabelGap struct {
	Field string `json:"field"`
	Where string `json:"where"`
	Why   string `json:"why"`
}
