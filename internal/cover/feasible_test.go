package cover_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// What fits after a dig on 28 October at the reference site. The planning
// table says: only cereal rye, winter wheat and triticale are dependable;
// winter pea and fava are possible in zone 8; clovers, hairy vetch and all
// brassicas are too late. Spring sowings follow from the windows and days.
func TestFeasible_AfterLateDig(t *testing.T) {
	var autumn, spring []string
	for id, c := range crops(t) {
		for _, o := range cover.Options(c, nil) {
			f := cover.Feasible(o, bed("b"), site, cover.DefaultRules())
			if o.Rest || !f.OK {
				continue
			}
			if f.Choice.Slot == cover.Spring {
				spring = append(spring, id)
			} else {
				autumn = append(autumn, id)
			}
		}
	}
	require.ElementsMatch(t, []string{"cereal_rye", "winter_wheat", "triticale", "field_pea", "fava"}, autumn)
	require.ElementsMatch(t, []string{"oats", "white_mustard", "arugula", "phacelia"}, spring)
}

// Every rest-year crop of the table fits a rested summer, at the earliest
// with its window's first day; white clover is for alleys.
func TestFeasible_RestYear(t *testing.T) {
	for _, c := range []struct{ id, sow, ready, kill string }{
		{"buckwheat", "2027-05-10", "2027-06-14", "2027-10-20"},
		{"marigold", "2027-05-25", "2027-08-23", "2027-10-20"},
		{"potato", "2027-03-31", "2027-07-09", "2027-10-20"},
		{"sunn_hemp", "2027-06-09", "2027-08-08", "2027-10-20"},
		{"red_clover", "2027-02-04", "2027-04-20", "2028-04-24"}, // frost hardy: to planting less 21 days
	} {
		o := cover.Option{Crop: crops(t)[c.id], Rest: true}
		f := cover.Feasible(o, bed("b"), site, cover.DefaultRules())
		require.True(t, f.OK, "%s %v", c.id, f.Reasons)
		require.Equal(t, c.sow, f.Choice.Sow.String(), c.id)
		require.Equal(t, c.ready, f.Choice.Ready.String(), c.id)
		require.Equal(t, c.kill, f.Choice.Kill.String(), c.id)
		require.Equal(t, "2028-05-15", f.Choice.Plant.String(), c.id)
	}
	require.Empty(t, cover.Options(crops(t)["white_clover"], nil))
	f := cover.Feasible(cover.Option{Crop: crops(t)["white_clover"]}, bed("b"), site, cover.DefaultRules())
	require.Equal(t, "it is for permanent alleys, not for beds", refusal(f).Text)
}

// A frost-hardy rest crop has 30 days after the first frost to make its stand:
// sown 31 Aug (FF-50), 75 days is 14 Nov; sown 6 Sep (FF-44) it is 20 Nov.
func TestFeasible_HardyRest(t *testing.T) {
	c := crops(t)["red_clover"]
	for rel, ok := range map[string]bool{"FF-50..FF-50": true, "FF-44..FF-44": false} {
		c.SowRel = rel
		f := cover.Feasible(cover.Option{Crop: c, Rest: true}, bed("b"), site, cover.DefaultRules())
		require.Equal(t, ok, f.OK, "%s %v", rel, f.Reasons)
	}
	c.KillC = ptr(-1.0) // frost-killed: neither
	c.SowRel = "FF-50..FF-50"
	require.False(t, cover.Feasible(cover.Option{Crop: c, Rest: true}, bed("b"), site, cover.DefaultRules()).OK)
}

// The reason given is the window that was missed, not one of the year after.
func TestFeasible_RestMissed(t *testing.T) {
	b := bed("b")
	b.FreeFrom, b.PlantBy, b.RestUntil = civil.MustParse("2027-08-20"), civil.MustParse("2027-09-01"), civil.MustParse("2028-05-15")
	f := cover.Feasible(cover.Option{Crop: crops(t)["buckwheat"], Rest: true}, b, site, cover.DefaultRules())
	require.Equal(t, "sowing ends 16 Aug 2027 (LF+15..FF-65), the bed is free from 20 Aug 2027", refusal(f).Text)
}

// Two sowings of buckwheat: 35 days, 10 days' wait, 35 days; a fourth would
// begin after 16 August.
func TestFeasible_Successions(t *testing.T) {
	o := cover.Option{Crop: crops(t)["buckwheat"], Rest: true, Sowings: 2}
	f := cover.Feasible(o, bed("b"), site, cover.DefaultRules())
	require.True(t, f.OK)
	require.Equal(t, "2027-06-24", f.Choice.Sowings[1].Sow.String())
	require.Equal(t, "2027-06-14", f.Choice.Sowings[0].Kill.String())
	o.Sowings = 4
	f = cover.Feasible(o, bed("b"), site, cover.DefaultRules())
	require.False(t, f.OK)
	require.Equal(t, "sowing 4 would fall on 22 Sep 2027, sowing ends 16 Aug 2027", refusal(f).Text)
}

// A bed cleared by 1 September takes an early-autumn stand; a late one of a
// winter crop is ground cover only.
func TestFeasible_StandByFrost(t *testing.T) {
	b := bed("b")
	b.FreeFrom = civil.MustParse("2026-09-01")
	for _, c := range []struct {
		id, sow string
		ok      bool
	}{
		{"hairy_vetch", "2026-09-01", true}, {"crimson_clover", "2026-09-01", true},
		{"rapeseed", "2026-09-01", true}, {"oilseed_radish", "2026-09-01", true}, {"cereal_rye", "2026-09-05", true},
	} {
		f := cover.Feasible(cover.Option{Crop: crops(t)[c.id]}, b, site, cover.DefaultRules())
		require.Equal(t, c.ok, f.OK, "%s %v", c.id, f.Reasons)
		require.Equal(t, c.sow, f.Choice.Sow.String(), c.id)
		require.Equal(t, cover.EarlyAutumn, f.Choice.Slot, c.id)
	}
	f := cover.Feasible(cover.Option{Crop: crops(t)["cereal_rye"]}, bed("b"), site, cover.DefaultRules())
	require.Equal(t, cover.Winter, f.Choice.Slot)
	require.Contains(t, f.Reasons, cover.Reason{Rule: "R3", Kind: cover.Warning,
		Text: "sown 28 Oct 2026 it makes no stand by 19 Nov 2026: ground cover only, expect half the growth or less"})
	// An early-autumn crop needs its stand: sown by 30 Sep, 60 days is 29 Nov.
	b.FreeFrom = civil.MustParse("2026-09-30")
	late := crops(t)["hairy_vetch"]
	late.SowRel = "FF-60..FF+0"
	f = cover.Feasible(cover.Option{Crop: late}, b, site, cover.DefaultRules())
	require.False(t, f.OK)
	require.Equal(t, "R3", refusal(f).Rule)
}

func TestFeasible_SoilTemperature(t *testing.T) {
	s := site
	o := cover.Option{Crop: crops(t)["oats"]} // needs 3.3 C
	f := cover.Feasible(o, bed("b"), s, cover.DefaultRules())
	require.True(t, f.OK)
	require.True(t, f.Has(cover.NotKnown))
	s.SoilC[1], s.SoilC[2] = ptr(2.0), ptr(6.0) // February too cold, March warm enough
	f = cover.Feasible(o, bed("b"), s, cover.DefaultRules())
	require.Equal(t, "2027-03-01", f.Choice.Sow.String())
	s.SoilC[2], s.SoilC[3] = ptr(3.0), ptr(3.2)
	f = cover.Feasible(o, bed("b"), s, cover.DefaultRules())
	require.False(t, f.OK)
	require.Contains(t, f.Reasons, cover.Reason{Rule: "R5", Kind: cover.Refused, Text: "the soil does not reach 3.3 °C in its window 24 Feb 2027 to 5 Apr 2027"})
}

// USDA zones: 8a is 10 to 15 F, 8 is 10 to 20 F, 7b is 5 to 10 F
// (-15.0 to -12.2 C as the map prints them).
func TestZoneC(t *testing.T) {
	for _, c := range []struct {
		zone      string
		low, high float64
		ok        bool
	}{
		{"8a", -12.2, -9.4, true}, {"8b", -9.4, -6.7, true}, {"8", -12.2, -6.7, true}, {"7b", -15, -12.2, true},
		{"1a", -51.1, -48.3, true}, {"13b", 18.3, 21.1, true},
		{"", 0, 0, false}, {"0", 0, 0, false}, {"14", 0, 0, false}, {"8c", 0, 0, false}, {"8a ", 0, 0, false},
	} {
		low, high, ok := cover.ZoneC(c.zone)
		require.Equal(t, c.ok, ok, c.zone)
		require.InDelta(t, c.low, low, 0.051, c.zone)
		require.InDelta(t, c.high, high, 0.051, c.zone)
	}
}

func TestFeasible_Hardiness(t *testing.T) {
	for _, c := range []struct {
		id, zone, free string
		ok             bool
		kind           cover.Kind // of the hardiness reason, "" for none
	}{
		{"cereal_rye", "8a", "2026-10-28", true, ""},
		{"cereal_rye", "3a", "2026-10-28", true, cover.Warning}, // hardy to 3, killed near -30 C
		{"cereal_rye", "2b", "2026-10-28", false, cover.Refused},
		{"field_pea", "8b", "2026-10-28", true, ""},
		{"field_pea", "7b", "2026-10-28", true, cover.Warning},
		{"field_pea", "6b", "2026-10-28", false, cover.Refused},
		{"fava", "8a", "2026-10-28", true, cover.Warning}, // 8-9
		{"fava", "9a", "2026-10-28", true, ""},
		{"fava", "", "2026-10-28", true, cover.NotKnown},
		// No zone in its row, killed near -7 C: 7a is below -15, 8b is -9.4 to -6.7.
		{"brown_mustard", "7a", "2026-10-28", false, cover.Refused},
		{"brown_mustard", "8b", "2026-10-28", true, cover.Warning},
		{"brown_mustard", "9a", "2026-10-28", true, ""},
		{"oilseed_radish", "7a", "2026-09-01", true, cover.Warning}, // dies, has done its work
		{"oilseed_radish", "10a", "2026-09-01", true, ""},
	} {
		b, s := bed("b"), site
		b.FreeFrom, s.Zone = civil.MustParse(c.free), c.zone
		crop := crops(t)[c.id]
		if c.id == "fava" || c.id == "field_pea" { // leave out the spring sowing that would fit instead
			crop.Slots = []cover.Slot{cover.Winter}
		}
		if c.id == "brown_mustard" { // as if it could be sown late
			crop.Slots, crop.SowRel = []cover.Slot{cover.Winter}, "FF-45..FF+21"
		}
		f := cover.Feasible(cover.Option{Crop: crop}, b, s, cover.DefaultRules())
		require.Equal(t, c.ok, f.OK, "%s %s %v", c.id, c.zone, f.Reasons)
		var got cover.Kind
		for _, r := range f.Reasons {
			if r.Rule == "hardiness" {
				got = r.Kind
			}
		}
		require.Equal(t, c.kind, got, "%s %s", c.id, c.zone)
	}
}

func TestFeasible_Rotation(t *testing.T) {
	grown := func(fam string, year int) []cover.Grown { return []cover.Grown{{Family: fam, Year: year}} }
	for _, c := range []struct {
		name, id string
		rest     bool
		edit     func(*cover.Bed, *cover.Rules)
		ok       bool
		rule     string
		kind     cover.Kind
	}{
		{"same family", "oats", false, func(b *cover.Bed, _ *cover.Rules) { b.History = grown("Poaceae", 2025) }, false, "R6", cover.Refused},
		{"subfamily in brackets", "phacelia", false, func(b *cover.Bed, _ *cover.Rules) { b.History = grown("Boraginaceae", 2025) }, false, "R6", cover.Refused},
		{"an older cover does not count", "oats", false, func(b *cover.Bed, _ *cover.Rules) {
			b.History = append(grown("Poaceae", 2024), grown("Fabaceae", 2025)...)
		}, true, "R6", ""},
		{"a mix hides no family", "oats", false, func(b *cover.Bed, _ *cover.Rules) {
			b.History = append(grown("Fabaceae", 2025), grown("Poaceae", 2025)...)
		}, false, "R6", cover.Refused},
		{"past not known", "oats", false, func(*cover.Bed, *cover.Rules) {}, true, "R6", cover.NotKnown},
		{"no cover before", "oats", false, func(b *cover.Bed, _ *cover.Rules) { b.HistoryKnown = true }, true, "R6", ""},
		{"dahlia's family, soft", "marigold", true, func(*cover.Bed, *cover.Rules) {}, true, "R7", cover.Warning},
		{"dahlia's family, hard", "marigold", true, func(_ *cover.Bed, r *cover.Rules) { r.R7 = cover.FamilyHard }, false, "R7", cover.Refused},
		{"brassica two years running", "white_mustard", false, func(b *cover.Bed, _ *cover.Rules) {
			b.History = append(grown("Brassicaceae", 2026), grown("Poaceae", 2026)...)
		}, false, "R8", cover.Refused},
		{"brassica two years ago", "white_mustard", false, func(b *cover.Bed, _ *cover.Rules) {
			b.History, b.HistoryKnown = append(grown("Brassicaceae", 2025), grown("Poaceae", 2026)...), true
		}, true, "R8", ""},
		{"clubroot", "white_mustard", false, func(b *cover.Bed, _ *cover.Rules) {
			b.History, b.HistoryKnown, b.ClubrootKnown = append(grown("Brassicaceae", 2024), grown("Poaceae", 2026)...), true, true
		}, false, "R8", cover.Refused},
		{"alyssum beside", "white_mustard", false, func(b *cover.Bed, _ *cover.Rules) { b.HistoryKnown, b.BrassicaNear = true, true }, false, "R8", cover.Refused},
		{"brassica past not known", "white_mustard", false, func(*cover.Bed, *cover.Rules) {}, true, "R8", cover.NotKnown},
		{"potato after wilt", "potato", true, func(b *cover.Bed, _ *cover.Rules) {
			b.Pressure = []cover.Pressure{cover.Counted("soil_verticillium", 1), cover.Counted("soil_sclerotinia", 0)}
		}, false, "R9", cover.Refused},
		{"potato, disease not known", "potato", true, func(*cover.Bed, *cover.Rules) {}, true, "R9", cover.NotKnown},
		{"second potato year", "potato", true, func(b *cover.Bed, _ *cover.Rules) {
			b.History = append(grown("Solanaceae", 2026), grown("Poaceae", 2027)...)
			b.Pressure = []cover.Pressure{cover.Counted("soil_verticillium", 0), cover.Counted("soil_sclerotinia", 0)}
		}, false, "R9", cover.Refused},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, r := bed("b"), cover.DefaultRules()
			c.edit(&b, &r)
			f := cover.Feasible(cover.Option{Crop: crops(t)[c.id], Rest: c.rest}, b, site, r)
			require.Equal(t, c.ok, f.OK, "%v", f.Reasons)
			var got cover.Kind
			for _, x := range f.Reasons {
				if x.Rule == c.rule && got == "" {
					got = x.Kind
				}
			}
			require.Equal(t, c.kind, got, "%v", f.Reasons)
		})
	}
}

// What a crop's row does not know leaves no dates; it is said, not guessed.
func TestFeasible_Unknown(t *testing.T) {
	for name, edit := range map[string]func(*cover.Crop, *cover.Site){
		"wait":   func(c *cover.Crop, _ *cover.Site) { c.LeadDays = nil },
		"days":   func(c *cover.Crop, _ *cover.Site) { c.DaysToUsable = nil },
		"window": func(c *cover.Crop, _ *cover.Site) { c.SowRel = "spring" },
		"frost":  func(_ *cover.Crop, s *cover.Site) { s.LastFrost = civil.MonthDay{} },
	} {
		c, s := crops(t)["oats"], site
		edit(&c, &s)
		f := cover.Feasible(cover.Option{Crop: c}, bed("b"), s, cover.DefaultRules())
		require.False(t, f.OK, name)
		require.True(t, f.Has(cover.NotKnown), "%s %v", name, f.Reasons)
	}
	c := crops(t)["cereal_rye"]
	c.DaysToUsable = nil // a winter crop may go as ground cover
	f := cover.Feasible(cover.Option{Crop: c}, bed("b"), site, cover.DefaultRules())
	require.True(t, f.OK)
	require.True(t, f.Choice.Ready.IsZero())
	require.True(t, f.Has(cover.NotKnown))
}

// Dates that Feasible proposes keep the rules as CheckDates reads them, over
// frost dates, digging and planting days of any cool climate.
func TestFeasible_KeepsDateRules(t *testing.T) {
	cs := crops(t)
	var ids []string
	for id := range cs {
		ids = append(ids, id)
	}
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		s := cover.Site{Zone: rapid.SampledFrom([]string{"", "5b", "7a", "8a", "9b"}).Draw(t, "zone")}
		lf := civil.New(2026, time.March, 1).AddDays(rapid.IntRange(0, 90).Draw(t, "lf"))
		ff := civil.New(2026, time.September, 1).AddDays(rapid.IntRange(0, 90).Draw(t, "ff"))
		s.LastFrost, s.FirstFrost = civil.MonthDay{Month: lf.Month, Day: lf.Day}, civil.MonthDay{Month: ff.Month, Day: ff.Day}
		b := cover.Bed{
			Code: "b", AreaM2: 1,
			FreeFrom: civil.New(2026, time.August, 1).AddDays(rapid.IntRange(0, 150).Draw(t, "free")),
			PlantBy:  civil.New(2027, time.April, 1).AddDays(rapid.IntRange(0, 90).Draw(t, "plant")),
		}
		for _, o := range cover.Options(cs[rapid.SampledFrom(ids).Draw(t, "crop")], nil) {
			f := cover.Feasible(o, b, s, cover.DefaultRules())
			if !f.OK {
				require.NotEmpty(t, f.Reasons)
				continue
			}
			found++
			for _, r := range cover.CheckDates(o, f.Choice.Sow, f.Choice.Kill, b, s) {
				require.NotEqual(t, cover.Refused, r.Kind, "%s %+v: %v", o.Key(), f.Choice, r)
			}
			require.False(t, f.Choice.Ready.After(f.Choice.Kill) && f.Choice.Slot != cover.Winter)
		}
	})
	require.Positive(t, found)
}
