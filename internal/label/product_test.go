package label_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// The limits belong to the product: a second container under another key
// counts with the first (LR-001, LR-014).
func TestPlan_OneProductUnderTwoKeys(t *testing.T) {
	first := with(func(l *farm.Label) {
		l.Registration, l.MinIntervalDays, l.MaxApplications = farm.Value("12345-6"), farm.Value(7), farm.Value(2)
	})
	second := first
	second.Key, second.Registration = "ironbait2", farm.Value(" 12345-6")
	r := ask(second, "2026-06-05")
	r.History = puts(first, "2026-06-01")
	r.Labels = map[string]farm.Label{first.Key: first, second.Key: second}
	refused(t, label.Plan(r), label.CodeInterval, "2026-06-08")
	r.Date = day("2026-06-20")
	r.History = puts(first, "2026-06-01", "2026-06-10")
	refused(t, label.Plan(r), label.CodeMaxCount, "")

	require.True(t, label.SameProduct(first, second))
	for name, change := range map[string]func(*farm.Label){
		"another number":     func(l *farm.Label) { l.Registration = farm.Value("12345-7") },
		"none stated":        func(l *farm.Label) { l.Registration = farm.None[string]() },
		"a number of zeros":  func(l *farm.Label) { l.Registration = farm.Value("00000-0") },
		"of another country": func(l *farm.Label) { l.Jurisdiction = farm.Value("GB") },
	} {
		a, b := first, second
		a.Jurisdiction, b.Jurisdiction = farm.Value("US-OR"), farm.Value("US")
		require.True(t, label.SameProduct(a, b))
		change(&b)
		require.False(t, label.SameProduct(a, b), name)
	}
}

// Where no two numbers were read the name tells, unless the registrants or the
// countries differ.
func TestSameProduct_ByName(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(a, b *farm.Label)
		same   bool
	}{
		{"both blank", func(a, b *farm.Label) {}, true},
		{"the name in other letters", func(a, b *farm.Label) { b.Product = " iron  BAIT" }, true},
		{"another name", func(a, b *farm.Label) { b.Product = "Iron Bait Plus" }, false},
		{"no names", func(a, b *farm.Label) { a.Product, b.Product = "", "" }, false},
		{"both state none", func(a, b *farm.Label) { a.Registration, b.Registration = farm.None[string](), farm.None[string]() }, true},
		{"one was read, the other is blank", func(a, b *farm.Label) { a.Registration = farm.Value("12345-6") }, true},
		{"one has a number, the other states none", func(a, b *farm.Label) {
			a.Registration, b.Registration = farm.Value("12345-6"), farm.None[string]()
		}, false},
		{"two numbers", func(a, b *farm.Label) { a.Registration, b.Registration = farm.Value("12345-6"), farm.Value("12345-7") }, false},
		{"one registrant", func(a, b *farm.Label) { a.Registrant, b.Registrant = farm.Value("Acme"), farm.Value("ACME") }, true},
		{"one registrant blank", func(a, b *farm.Label) { a.Registrant = farm.Value("Acme") }, true},
		{"two registrants", func(a, b *farm.Label) { a.Registrant, b.Registrant = farm.Value("Acme"), farm.Value("Bravo") }, false},
		{"two countries", func(a, b *farm.Label) { a.Jurisdiction, b.Jurisdiction = farm.Value("US"), farm.Value("GB") }, false},
	} {
		a, b := farm.Label{Key: "a", Product: "Iron Bait"}, farm.Label{Key: "b", Product: "Iron Bait"}
		c.change(&a, &b)
		require.Equal(t, c.same, label.SameProduct(a, b), c.name)
		require.Equal(t, c.same, label.SameProduct(b, a), c.name)
	}
}

// What labels write behind the name of an active does not hide it from the
// maximum that products share (LR-019, LR-020).
func TestPlan_SharedActiveWrittenOtherwise(t *testing.T) {
	l := with(func(l *farm.Label) { l.Actives[0].Max = farm.Value(units.Of(0.001, "g/m2")) })
	for _, name := range []string{"Ferric  Phosphate", "ferric phosphate (1%)", "ferric phosphate 1.0 %", "ferric phosphate (as Fe)"} {
		other := with(func(l *farm.Label) {
			l.Key, l.Registration = "other", farm.None[string]()
			l.Actives[0].Name, l.Actives[0].Percent = name, 100
		})
		r := ask(other, "2026-06-20")
		r.History = puts(l, "2026-06-01")
		r.Labels = map[string]farm.Label{l.Key: l, other.Key: other}
		require.Equal(t, label.CodeMaxActive, label.Plan(r).Refusals[0].Code, name)
	}
}

// An application over midnight counts by its end for intervals; work is held
// against its hours.
func TestPlan_WorkDuringAnApplicationOverMidnight(t *testing.T) {
	r := ask(rei(4), "2026-07-01")
	r.Start, r.End = at("2026-06-30T22:00:00-04:00"), at("2026-07-01T01:00:00-04:00")
	r.Work = []label.Work{{What: "harvest", Date: day("2026-06-30"), At: at("2026-06-30T23:00:00-04:00"), Harvest: true}}
	refused(t, label.Plan(r), label.CodeWork, "2026-07-01")
	r.Work[0].At = at("2026-06-30T21:00:00-04:00")
	allowed(t, label.Plan(r))
}
