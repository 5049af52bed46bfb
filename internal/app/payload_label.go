package app

import (
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

func labelData(l farm.Label) LabelData {
	per := l.MaxPer
	if per == "" {
		per = farm.PerSeason
	}
	d := LabelData{
		Key: l.Key, Version: l.Version, Entered: l.Entered, Product: l.Product, Registration: field(l.Registration, ""),
		UseClass: field(l.UseClass, ""), SignalWord: field(l.SignalWord, ""), Actives: []LabelActive{}, Formulation: field(l.Formulation, ""),
		Organic: field(l.Organic, ""), Places: []LabelPlace{}, Pests: orEmpty(l.Pests), OtherPests: orEmpty(l.OtherPests), Method: field(l.Method, ""), Expiry: field(l.Expiry, ""),
		RateMin: field(l.RateMin, ""), RateMax: field(l.RateMax, ""), MinInterval: field(l.MinIntervalDays, "d"),
		ReapplyBy: field(l.ReapplyByDays, "d"), ReapplyWhen: field(l.ReapplyWhen, ""), MaxApplications: field(l.MaxApplications, ""),
		MaxInWindow: LabelWindow{State: string(stateOf(l.MaxInWindow.State))}, MaxAmount: field(l.MaxAmount, ""), MaxPer: per,
		REI: field(l.REIHours, "h"), PHI: field(l.PHIDays, "d"), Rainfast: field(l.RainfastH, "h"), MaxTemp: field(l.MaxTempC, "C"),
		MinTemp: field(l.MinTempC, "C"), MaxWind: field(l.MaxWindMS, "m/s"), Bees: field(l.Bees, ""), WaterBuffer: field(l.WaterBuffer, "m"),
		Animals: field(l.Animals, ""), KeepApart: []LabelApart{}, NoKeepApart: l.NoKeepApart, PPE: field(l.PPE, ""), Note: l.Note, Unknown: []LabelGap{},
	}
	for _, a := range l.Actives {
		d.Actives = append(d.Actives, LabelActive{a.Name, a.Percent, field(a.Group, ""), field(a.Max, "")})
	}
	for _, s := range l.Sites {
		d.Places = append(d.Places, LabelPlace{string(s.Where), s.Crop, field(s.REIHours, "h")})
	}
	if w, ok := l.MaxInWindow.Get(); ok {
		d.MaxInWindow.Count, d.MaxInWindow.Days = &w.Count, &w.Days
	}
	for _, k := range l.KeepApart {
		d.KeepApart = append(d.KeepApart, LabelApart(k))
	}
	for _, g := range label.Check(l) {
		d.Unknown = append(d.Unknown, LabelGap(g))
	}
	return d
}
