package testkit

import (
	"reflect"

	"leafturn/internal/farm"
)

// Read makes every field of a label's LabelMore that is unknown "none stated",
// and counts its maxima per season where nothing was said, for tests that are
// about something else.
func Read(l farm.Label) farm.Label {
	v := reflect.ValueOf(&l.LabelMore).Elem()
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Struct && f.NumField() == 2 && f.Field(0).Type() == reflect.TypeFor[farm.State]() && f.Field(0).String() == "" {
			f.Field(0).SetString(string(farm.NoneStated))
		}
	}
	for i := range l.Actives {
		if !l.Actives[i].GPerL.Known() {
			l.Actives[i].GPerL = farm.None[float64]()
		}
	}
	if l.MaxPer == "" {
		l.MaxPer = farm.PerSeason
	}
	return l
}
