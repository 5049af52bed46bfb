package app_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// The checks of a knowledgeable scout, run through the program with the
// catalogue's own levels, so that the facts of the tests of package assess and
// those that a grower gets cannot go apart.
func TestScoutsChecks_WithTheCatalogue(t *testing.T) {
	for _, x := range []struct {
		name, area, stage, day string // the day of the count and of the question
		lines                  []string
		pest                   string
		did                    string // confirmed or not-confirmed
		frost                  string // 10-20 where empty, none for -
		verdict                string
		says, not              []string
	}{
		{name: "0 slugs in 9 traps, soil dry, 27 °C", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0 soil=dry air=27C"}, pest: "slug",
			verdict: "look again", says: []string{"not valid, which is not the same as a low count", "27 °C, over 25 °C"}},
		{name: "0 slugs in 9 traps, nothing noted of the soil", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0"}, pest: "slug",
			verdict: "look again", says: []string{"until it is noted whether the soil was moist"}},
		{name: "0 slugs in 9 traps on moist soil", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0 soil=moist"}, pest: "slug",
			verdict: "hold", says: []string{"air temperature was not noted"}},
		{name: "0 slugs in 9 traps, the soil noted on another count of that day", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0", "A1 mite 20*0 unit=tap soil=moist"}, pest: "slug",
			verdict: "hold", not: []string{"soil moisture was not noted"}},
		{name: "0 slugs in 9 traps, the soil noted dry on another count of that day", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0", "A1 mite 20*0 unit=tap soil=dry"}, pest: "slug",
			verdict: "look again", says: []string{"where this bed was different", "the soil surface was dry"}},
		{name: "0 slugs in 9 traps, moist in one bed and dry in another", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0", "B1 slug 9*0 soil=dry", "B2 slug 9*0 soil=moist"}, pest: "slug",
			verdict: "look again", says: []string{"until it is noted whether the soil was moist"}},
		{name: "0 slugs in 9 traps, moist all over the round", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*0", "B1 slug 9*0 soil=moist", "B2 slug 9*0 soil=moist"}, pest: "slug",
			verdict: "hold"},
		{name: "one leaf of 300 mites among clean ones: a slip or a hot spot, so no hold", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite 300 19*0 foliage=dry"}, pest: "mite",
			verdict: "look again", says: []string{"probably a typing slip or a hot spot", "nothing is decided until unit 1 is settled"}},
		{name: "one leaf of 50,000 mites among clean ones: no act either", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite 50000 19*0 foliage=dry"}, pest: "mite",
			verdict: "look again", says: []string{"nothing is decided until unit 1 is settled"}},
		{name: "a slip among leaves that act by themselves", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite 50000 40 35 61 22 48 30 55 41 29 38 44 52 33 47 25 60 36 42 50 foliage=dry"}, pest: "mite",
			verdict: "act", says: []string{"probably a typing slip or a hot spot"}, not: []string{"nothing is decided"}},
		{name: "many slugs act, whatever the soil was", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 9*7"}, pest: "slug",
			verdict: "act", says: []string{"soil moisture was not noted"}},
		{name: "0 slugs by torch, the night's warmth not noted", stage: "planted", day: "2026-05-20", lines: []string{"A1 slug 10*0 unit=night"}, pest: "slug",
			verdict: "hold", says: []string{"there is no action level"}},
		{name: "0 wireworms, nothing noted", day: "2026-04-20", lines: []string{"A1 wireworm 10*0"}, pest: "wireworm",
			verdict: "look again", says: []string{"whether the soil was moist", "how warm the soil was"}},
		{name: "0 wireworms, how warm the soil was not noted", day: "2026-04-20", lines: []string{"A1 wireworm 10*0 soil=moist"}, pest: "wireworm",
			verdict: "look again", says: []string{"how warm the soil was"}, not: []string{"whether the soil was moist"}},
		{name: "0 wireworms in warm moist soil", day: "2026-04-20", lines: []string{"A1 wireworm 10*0 soil=moist soilc=11C"}, pest: "wireworm",
			verdict: "hold"},
		{name: "6 slugs per trap in 3 nights are not 6 per night", stage: "budding", day: "2026-07-20", lines: []string{"A1 slug 6 6 5 7 6 6 4 8 6 nights=3 soil=moist air=15C damage=10/50"}, pest: "slug",
			verdict: "hold", says: []string{"2 slugs per trap and night"}},
		{name: "12 mites per leaf, 2 predatory mites per leaf", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite " + mites12 + " foliage=dry +predatory_mite=80"}, pest: "mite",
			verdict: "hold", says: []string{"6 spider mites to each", "recount in 5 to 7 days"}},
		{name: "12 mites per leaf, 0.2 predatory mites per leaf", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite " + mites12 + " foliage=dry +predatory_mite=8"}, pest: "mite",
			verdict: "act", says: []string{"60 spider mites to each"}},
		{name: "12 mites per leaf, predatory mites not counted: how they are written down", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite " + mites12 + " foliage=dry"}, pest: "mite",
			verdict: "act", says: []string{"predatory mites were not counted", "+predatory_mite=NUMBER"}},
		{name: "aphids in 1 tip of 5, ladybirds seen: the rule is of colonies with enemies", stage: "budding", day: "2026-07-20", lines: []string{"A1 aphid 10/50 +ladybird=3"}, pest: "aphid",
			verdict: "act", says: []string{"aphid colonies with enemies: +guarded_colony=NUMBER"}},
		{name: "aphids in 1 tip of 5, half of the colonies guarded", stage: "budding", day: "2026-07-20", lines: []string{"A1 aphid 10/50 +guarded_colony=5"}, pest: "aphid",
			verdict: "hold", says: []string{"natural enemies in 50 % of colonies"}},
		{name: "9 earwigs per trap in June, no buds", stage: "pinched", day: "2026-06-20", lines: []string{"A1 earwig 10*9"}, pest: "earwig",
			verdict: "hold", says: []string{"aphid and mite-egg predator"}},
		{name: "2 thrips per bloom, tospovirus confirmed", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/1 unit=test", "A1 thrips 10*4"}, pest: "thrips",
			verdict: "act", says: []string{"1 thrips per open bloom"}, not: []string{"10 thrips per open bloom"}},
		{name: "1 thrips per card, tospovirus confirmed last week", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/1 unit=test", "A1 thrips 4*1 unit=card air=20C"}, pest: "thrips",
			verdict: "act", says: []string{"1 thrips per sticky card", "the chance of being at or over it is 50 %"}, not: []string{"15 thrips"}},
		{name: "1 thrips per bloom on 17 blooms, tospovirus confirmed: an even chance acts", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/1 unit=test", "A1 thrips 17*1 foliage=dry"}, pest: "thrips",
			verdict: "act", says: []string{"the chance of being at or over it is 50 %"}},
		{name: "2 thrips per bloom, nothing known of a virus", stage: "bloom", day: "2026-08-10", lines: []string{"A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"10 thrips per open bloom", "whether a tospovirus is on the farm is not known"}},
		{name: "2 thrips per bloom, no virus by what the grower says", area: "no_tospovirus", stage: "bloom", day: "2026-08-10", lines: []string{"A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"10 thrips per open bloom"}, not: []string{"is not known"}},
		{name: "an open suspect elsewhere on the farm is named", stage: "bloom", day: "2026-08-10", lines: []string{"B2 tospovirus 1/60", "A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"whether a tospovirus is on the farm is not known", "not tested yet: the suspect in B2 of Mon 10 Aug"}},
		{name: "an open suspect where the grower says there is no virus", area: "no_tospovirus", stage: "bloom", day: "2026-08-10", lines: []string{"B2 tospovirus 1/60", "A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"as you say yours is", "not tested yet: the suspect in B2 of Mon 10 Aug"}, not: []string{"is not known"}},
		{name: "a suspect that a later walk did not find again is still open", stage: "bloom", day: "2026-08-10", lines: []string{"2026-08-01 B2 tospovirus 1/60", "B2 tospovirus 0/60", "A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"not tested yet: the suspect in B2 of Sat 1 Aug"}},
		{name: "a negative test clears a suspect", stage: "bloom", day: "2026-08-10", lines: []string{"2026-08-01 B2 tospovirus 1/60", "B2 tospovirus 0/1 unit=test", "A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", says: []string{"whether a tospovirus is on the farm is not known"}, not: []string{"suspect in"}},
		{name: "no suspect, no name", stage: "bloom", day: "2026-08-10", lines: []string{"B2 tospovirus 0/60", "A1 thrips 10*2"}, pest: "thrips",
			verdict: "hold", not: []string{"suspect in"}},
		{name: "a positive test outranks what the grower says", area: "no_tospovirus", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/1 unit=test", "A1 thrips 10*4"}, pest: "thrips",
			verdict: "act", says: []string{"1 thrips per open bloom"}},
		{name: "0 wireworms, bait read in soil at 6 °C", stage: "", day: "2026-04-20", lines: []string{"A1 wireworm 10*0 soil=moist soilc=6C"}, pest: "wireworm",
			verdict: "look again", says: []string{"too cold: 6 °C, under 8 °C"}},
		{name: "0 virus plants in 50", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 0/50"}, pest: "tospovirus",
			verdict: "look again", says: []string{"up to 5.8 % could still be infested", "walk the whole block"}},
		{name: "0 virus plants, every plant looked at", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 0/200"}, pest: "tospovirus",
			verdict: "hold", says: []string{"that is all there are"}},
		{name: "1 plant with signs is a suspect", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/200"}, pest: "tospovirus",
			verdict: "look again", says: []string{"a suspect, not proof: flag, isolate, test"}},
		{name: "1 plant with a positive test", stage: "bloom", day: "2026-08-10", lines: []string{"A1 tospovirus 1/1 unit=test"}, pest: "tospovirus",
			verdict: "act", says: []string{"any find acts"}},
		{name: "a hot spot of 60 mites beside 20 leaves", stage: "budding", day: "2026-07-20", lines: []string{"A1 mite 15*0 5*1 foliage=dry", "A1 mite 60 hotspot foliage=dry"}, pest: "mite",
			verdict: "hold", says: []string{"hot spot with 60 spider mites per leaf"}},
		{name: "mildew in June, before its season", stage: "budding", day: "2026-06-30", lines: []string{"A1 mildew 25/50 foliage=dry"}, pest: "mildew",
			verdict: "hold", says: []string{"the act level of 10 % of plants", "from 1 July to 21 days before the first frost (29 September)", "30 Jun, is outside that"}},
		{name: "mildew on the first day of its season", stage: "budding", day: "2026-07-01", lines: []string{"A1 mildew 25/50 foliage=dry"}, pest: "mildew",
			verdict: "act", says: []string{"from 1 July to 21 days before the first frost (29 September)", "the action level is the one for"}},
		{name: "mildew on the last day of its season", stage: "bloom", day: "2026-09-29", lines: []string{"A1 mildew 25/50 foliage=dry"}, pest: "mildew",
			verdict: "act"},
		{name: "mildew after its season", stage: "bloom", day: "2026-09-30", lines: []string{"A1 mildew 25/50 foliage=dry"}, pest: "mildew",
			verdict: "hold", says: []string{"is outside that", "over the watch level"}},
		{name: "mildew in October, where the frost date is not known", frost: "-", stage: "bloom", day: "2026-10-10", lines: []string{"A1 mildew 25/50 foliage=dry"}, pest: "mildew",
			verdict: "act", says: []string{"from 1 July to 21 days before the first frost; the farm has no date for its first frost", "--first-frost"}},
		{name: "mosaic in midsummer, when signs fade: what is seen still counts", stage: "bloom", day: "2026-07-20", lines: []string{"A1 mosaic 20/200"}, pest: "mosaic",
			verdict: "hold", says: []string{"over the watch level"}},
		{name: "mosaic in September", stage: "bloom", day: "2026-09-01", lines: []string{"A1 mosaic 20/200"}, pest: "mosaic",
			verdict: "hold", says: []string{"over the watch level"}},
		{name: "potato leafhopper where nobody has said whether it lives there", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*1 foliage=dry air=20C"}, pest: "leafhopper",
			verdict: "look again", says: []string{"has not been said: leafturn farm set --area potato_leafhopper (or no_potato_leafhopper)"}},
		{name: "no leafhoppers, and nobody has said which live there", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*0 foliage=dry air=20C"}, pest: "leafhopper",
			verdict: "hold", says: []string{"has not been said"}},
		{name: "potato leafhopper in its area", area: "potato_leafhopper", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*1 foliage=dry air=20C"}, pest: "leafhopper",
			verdict: "act", not: []string{"look first"}},
		{name: "potato leafhopper entered in western Oregon: ask what it is", area: "no_potato_leafhopper", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*1 foliage=dry air=20C"}, pest: "leafhopper",
			verdict: "look again", says: []string{"what is known of your farm says otherwise", "proof that they are potato leafhoppers"}, not: []string{"has not been said"}},
		{name: "potato leafhopper confirmed outside its area", area: "no_potato_leafhopper", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*1 foliage=dry air=20C"}, did: "confirmed", pest: "leafhopper",
			verdict: "act", says: []string{"confirmed here on"}},
		{name: "leafhoppers of another kind", area: "no_potato_leafhopper", stage: "bloom", day: "2026-07-20", lines: []string{"A1 leafhopper 50*1 foliage=dry air=20C"}, did: "not-confirmed", pest: "leafhopper",
			verdict: "hold", says: []string{"without proof that they are potato leafhoppers"}},
		{name: "18 grasshoppers per square yard: the 30 to 45 of field crops is not for cut flowers", stage: "bloom", day: "2026-08-10", lines: []string{"A1 grasshopper 18*2 air=25C"}, pest: "grasshopper",
			verdict: "act", says: []string{"the action level is 0.333"}},
		{name: "1 beetle per plant on dahlia foliage", stage: "pinched", day: "2026-06-20", lines: []string{"A1 cucumber_beetle 50*1 unit=plant foliage=dry air=18C"}, pest: "cucumber_beetle",
			verdict: "hold", says: []string{"5 beetles per plant"}},
		{name: "1 beetle per plant in bloom: the rule of cucumbers is not for dahlias", stage: "bloom", day: "2026-08-20", lines: []string{"A1 cucumber_beetle 50*1 unit=plant foliage=dry air=18C"}, pest: "cucumber_beetle",
			verdict: "hold", says: []string{"there is no action level"}},
		{name: "a mosaic test that is positive on plants that grow well: no roguing by itself", stage: "bloom", day: "2026-06-20", lines: []string{"A1 mosaic 4/200", "A1 mosaic 0/200 unit=stunted"}, pest: "mosaic",
			verdict: "hold"},
		{name: "a plant stunted by mosaic", stage: "bloom", day: "2026-07-20", lines: []string{"A1 mosaic 1/200 unit=stunted"}, pest: "mosaic",
			verdict: "act", says: []string{"any find acts"}},
		{name: "mosaic signs gone in July: the flag stays", stage: "bloom", day: "2026-07-20", lines: []string{"A1 mosaic 0/200"}, pest: "mosaic",
			verdict: "look again", says: []string{"signs do not show well now", "a flag set earlier stays", "walk again from 1 September"}},
		{name: "no mosaic signs on the last day that they show well", stage: "bloom", day: "2026-06-30", lines: []string{"A1 mosaic 0/200"}, pest: "mosaic", verdict: "hold"},
		{name: "no mosaic signs on the first day that they do not", stage: "bloom", day: "2026-07-01", lines: []string{"A1 mosaic 0/200"}, pest: "mosaic", verdict: "look again"},
		{name: "no mosaic signs on the last day of August", stage: "bloom", day: "2026-08-31", lines: []string{"A1 mosaic 0/200"}, pest: "mosaic", verdict: "look again"},
		{name: "no mosaic signs in September", stage: "bloom", day: "2026-09-01", lines: []string{"A1 mosaic 0/200"}, pest: "mosaic", verdict: "hold"},
		{name: "8 cut shoots of 50 with slime and no larva", stage: "planted", day: "2026-05-20", lines: []string{"A1 caterpillar 8/50 unit=shoot"}, pest: "caterpillar",
			verdict: "look again", says: []string{"a cutworm larva at the cut shoots", "slime means slugs"}},
		{name: "8 cut shoots of 50, looked for a larva and none there", stage: "planted", day: "2026-05-20", lines: []string{"A1 caterpillar 8/50 unit=shoot"}, did: "not-confirmed", pest: "caterpillar",
			verdict: "hold", says: []string{"the cause is something else"}},
		{name: "8 cut shoots of 50 and a larva", stage: "planted", day: "2026-05-20", lines: []string{"A1 caterpillar 8/50 unit=shoot"}, did: "confirmed", pest: "caterpillar",
			verdict: "act", says: []string{"confirmed here on Wed 20 May"}},
		{name: "8 cut shoots of 50 and a larva counted on the same round", stage: "planted", day: "2026-05-20", lines: []string{"A1 caterpillar 8/50 unit=shoot", "A1 caterpillar 1/50"}, pest: "caterpillar",
			verdict: "act"},
		{name: "chewed blooms, culprit not seen", stage: "bloom", day: "2026-08-10", lines: []string{"A1 earwig 20/50 unit=chewed"}, pest: "earwig",
			verdict: "look again", says: []string{"earwigs in the chewed blooms", "cucumber beetles chew by day"}},
		{name: "chewed blooms and earwigs in the traps", stage: "bloom", day: "2026-08-10", lines: []string{"A1 earwig 20/50 unit=chewed", "A1 earwig 10*1"}, pest: "earwig",
			verdict: "act"},
		{name: "a Japanese beetle where nobody has said whether it lives there", stage: "bloom", day: "2026-07-20", lines: []string{"A1 jb 49*0 1"}, pest: "jb",
			verdict: "look again", says: []string{"has not been said"}},
		{name: "a Japanese beetle where it is not established: specimen first", area: "japanese_beetle_absent", stage: "bloom", day: "2026-07-20", lines: []string{"A1 jb 49*0 1"}, pest: "jb",
			verdict: "look again", says: []string{"report it to the plant health authority"}},
		{name: "no Japanese beetle where it is not established", area: "japanese_beetle_absent", stage: "bloom", day: "2026-07-20", lines: []string{"A1 jb 50*0"}, pest: "jb", verdict: "hold"},
		{name: "one Japanese beetle on a plant in fifty where it is established", area: "japanese_beetle_established", stage: "bloom", day: "2026-07-20", lines: []string{"A1 jb 50*1"}, pest: "jb",
			verdict: "act", not: []string{"look first"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			verdict, reasons := askScout(t, x.area, x.frost, x.stage, x.day, x.pest, x.did, x.lines...)
			require.Equal(t, x.verdict, verdict, reasons)
			for _, s := range x.says {
				require.Contains(t, reasons, s)
			}
			for _, s := range x.not {
				require.NotContains(t, reasons, s)
			}
		})
	}
}

// Leaflets are no unit that a level for dahlias is stated in, so they are
// refused when they are entered.
func TestScoutsChecks_LeafletsAreRefused(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "30 m x 1.2 m", Plants: "200", Site: "outdoor"})
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 mite 40*4 unit=leaflet"), app.CountOptions{})
	require.ErrorContains(t, err, `unknown unit of spider_mite "leaflet"`)
}

// One unit far above the others is marked in the answer of count and in the
// week's list, not only in why.
func TestOutlier_MarkedWhereTheGrowerMeetsIt(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{Pests: p("slug,mite")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "30 m x 1.2 m", Plants: "200", Site: "outdoor"})
	require.NoError(t, err)
	_, err = a.Stage(ctx, a.Today().AddDays(-30), "planted", []string{"A1"}, "")
	require.NoError(t, err)
	line := strings.Fields("A1 slug 0 0 1 0 300 0 1 0 0 soil=moist air=15C")
	const words = "unit 5 with 300 is far above the others: probably a typing slip or a hot spot"
	said, err := a.CountWords(ctx, line, app.CountOptions{Date: a.Today(), Check: true})
	require.NoError(t, err)
	require.Contains(t, said, words)
	said, err = a.CountWords(ctx, line, app.CountOptions{Date: a.Today()})
	require.NoError(t, err)
	require.Contains(t, said, words)
	said, err = a.CountFile(ctx, strings.NewReader("A1 mite 20*0 900\nA1 mite 20*0 5 6 7 unit=tap"), "n.txt", app.CountOptions{Date: a.Today()})
	require.NoError(t, err)
	require.Contains(t, said, "A1 spider_mite: unit 21 with 900 is far above")
	require.Equal(t, 1, strings.Count(said, "far above"))
	doc, err := a.Week(ctx, a.Today())
	require.NoError(t, err)
	require.Contains(t, fmt.Sprintf("%+v", doc.Data), words)
	var text bytes.Buffer
	require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}))
	require.Contains(t, strings.Join(strings.Fields(text.String()), " "), "typing slip or a hot spot")
	doc, err = a.WhyBed(ctx, a.Today(), "A1", "slug")
	require.NoError(t, err)
	require.Contains(t, strings.Join(doc.Data.(app.Verdict).Reasons, "\n"), "or a hot spot")
}

// mites12 are 40 leaves with 480 mites, clumped as mites are: invented.
const mites12 = "0 0 1 2 3 4 5 6 7 8 9 10 11 12 14 16 20 26 36 50 0 0 1 2 3 4 5 6 7 8 9 10 11 12 14 16 20 26 36 50"

// askScout enters lines in a new farm with one bed of 200 plants and asks for
// the verdict of that day.
func askScout(t *testing.T, area, frost, stage, day, pest, did string, lines ...string) (verdict, reasons string) {
	t.Helper()
	on := civil.MustParse(day)
	o := app.FarmOptions{Area: p(area), LastFrost: p("04-25"), FirstFrost: p("10-20")}
	if frost != "" {
		o.FirstFrost = nil
	}
	a := newFarm(t, testPath(t), on.Time(), o)
	for _, code := range []string{"A1", "B1", "B2"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "30 m x 1.2 m", Plants: "200", Site: "outdoor"})
		require.NoError(t, err)
	}
	if stage != "" {
		_, err := a.Stage(ctx, on.AddDays(-10), stage, []string{"A1"}, "")
		require.NoError(t, err)
	}
	for _, line := range lines {
		_, err := a.CountWords(ctx, strings.Fields(line), app.CountOptions{Date: on})
		require.NoError(t, err)
	}
	if did != "" {
		_, err := a.Did(ctx, on, pest, did, []string{"A1"}, "", farm.DoneMore{})
		require.NoError(t, err)
	}
	doc, err := a.WhyBed(ctx, on, "A1", pest)
	require.NoError(t, err)
	v, ok := doc.Data.(app.Verdict)
	require.True(t, ok)
	return v.Verdict, strings.Join(v.Reasons, "\n")
}

// An insecticide on dahlias in bloom: a bee statement that forbids open bloom
// refuses at any hour, one that forbids foraging hours by day, and a blank one
// refuses until it is read.
func TestScoutsChecks_InsecticideOnOpenBloomAtNoon(t *testing.T) {
	for _, x := range []struct {
		bees              string
		offered           bool
		week, plan, treat string
	}{
		{`"not in bloom"`, false, "forbids this product until the petals have fallen", "forbids this product until the petals have fallen", "this broke the label: bloom"},
		{`"not while bees forage"`, true, "apply between sunset and sunrise", "not between sunrise and sunset", "this broke the label: bees foraging"},
		{`""`, false, "bee statement is not read yet", "bee statement is not read yet", "until these are read off the label (`leafturn label ask` says where they stand): bee statement"},
	} {
		t.Run(x.bees, func(t *testing.T) {
			a := newFarm(t, testPath(t), summer.Add(12*time.Hour), app.FarmOptions{Area: p("no_tospovirus"), Country: p("US"), Zone: p("America/Los_Angeles"), At: p("45.5, -123.0")})
			day := a.Today()
			_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "30 m x 1.2 m", Plants: "200", Site: "outdoor"})
			require.NoError(t, err)
			_, err = a.Stage(ctx, day.AddDays(-10), "bloom", []string{"A1"}, "")
			require.NoError(t, err)
			_, err = a.CountWords(ctx, strings.Fields("A1 thrips 10*30"), app.CountOptions{Date: day})
			require.NoError(t, err)
			l := strings.NewReplacer(`pests = ["slug"]`, `pests = ["thrips"]`, `bees = "none stated"`, "bees = "+x.bees, `water_buffer = "10 m"`, `water_buffer = "none stated"`,
				`ppe = ""`, `ppe = "gloves"`, `rate_min = "10 kg/ha"`, `rate_min = "none stated"`).Replace(exampleLabel(t))
			_, err = a.AddLabel(ctx, strings.NewReader(l), "spray.toml", civil.MustParse("2026-07-01"), false)
			require.NoError(t, err)

			doc, err := a.Week(ctx, day)
			require.NoError(t, err)
			week := plainText(t, doc)
			require.Contains(t, week, x.week)
			require.Equal(t, x.offered, strings.Contains(week, "if the lower steps were not enough"), week)

			doc, err = a.MonthPlan(ctx, day, app.MonthOptions{})
			require.NoError(t, err)
			require.Contains(t, plainText(t, doc), x.plan)
			placed := false
			for _, s := range doc.Data.(app.MonthPlanData).Slots {
				if s.Kind == "product" {
					placed = true
					at, err := time.Parse(time.RFC3339, s.Start)
					require.NoError(t, err)
					require.True(t, at.Hour() >= 19 || at.Hour() < 7, s.Start) // the sun is up from 7 to 19 in July and August
				}
			}
			require.Equal(t, x.offered, placed)

			said, err := a.Treat(ctx, app.TreatOptions{Label: "bait", Beds: []string{"A1"}, Pest: "thrips", Amount: "25 g", Start: "2026-07-22 12:00", End: "2026-07-22 12:30"})
			require.NoError(t, err)
			require.Contains(t, strings.Join(said.Warnings, "\n"), x.treat)
		})
	}
}

// The published level for grasshoppers is one of field crops, and that is said
// where the level is shown.
func TestScoutsChecks_GrasshopperRuleIsOfFieldCrops(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "30 m x 1.2 m", Plants: "200", Site: "outdoor"})
	require.NoError(t, err)
	_, err = a.Stage(ctx, a.Today().AddDays(-10), "bloom", []string{"A1"}, "")
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 grasshopper 16*2 4 4 air=25C"), app.CountOptions{Date: a.Today()}) // 40 on 18: 20 per square yard
	require.NoError(t, err)
	doc, err := a.WhyBed(ctx, a.Today(), "A1", "grasshopper")
	require.NoError(t, err)
	require.Contains(t, plainText(t, doc), "any field crop (June): from 30 nymphs/sq yd in field; not made for dahlia; far too high for cut flowers")
}

// plainText is a document as printed, on one line.
func plainText(t *testing.T, doc *report.Document) string {
	t.Helper()
	var text bytes.Buffer
	require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}))
	return strings.Join(strings.Fields(text.String()), " ")
}
