package render

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/report"
)

func pages(t *testing.T, d report.Document, o Options, lines int) []string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Pages(&b, d, o, lines))
	return strings.Split(b.String(), "\f")
}

// A document of one page is as without pages; a long one loses no line, keeps
// its order, and says on each page what it is, which page it is and the
// warnings.
func TestPages(t *testing.T) {
	require.Equal(t, text(t, sampleWeek(), Options{}), pages(t, sampleWeek(), Options{}, 10_000)[0])

	rng := rand.New(rand.NewPCG(3, 1))
	many, continued := 0, 0
	for range 60 {
		d := sampleWeek()
		d.Sections = nil
		var want []string // the words of each piece, in order
		for s := range 1 + rng.IntN(4) {
			sec := report.Section{Key: fmt.Sprint(s), Title: fmt.Sprintf("Part %d", s)}
			for i := range rng.IntN(30) {
				name := fmt.Sprintf("item %d.%d", s, i)
				it := report.Item{Head: report.Plain(name)}
				for range rng.IntN(4) {
					it.Details = append(it.Details, report.Plain("detail of "+name))
				}
				want = append(want, name)
				sec.Items = append(sec.Items, it)
			}
			for i := range rng.IntN(12) {
				name := fmt.Sprintf("note %d.%d", s, i)
				want = append(want, name)
				sec.Notes = append(sec.Notes, report.Plain(name+strings.Repeat(" words", rng.IntN(40))))
			}
			d.Sections = append(d.Sections, sec)
		}
		lines := 30 + rng.IntN(40)
		got := pages(t, d, Options{Width: PageWidth}, lines)
		whole := text(t, d, Options{Width: PageWidth})
		if len(got) == 1 {
			require.Equal(t, whole, got[0])
			continue
		}
		many++
		var body []string
		for i, p := range got {
			require.LessOrEqual(t, strings.Count(p, "\n"), lines)
			checkWidths(t, p, PageWidth)
			require.True(t, strings.HasPrefix(p, d.Title+"\n"))
			require.Equal(t, 1, strings.Count(p, fmt.Sprintf("\npage %d of %d\n", i+1, len(got))))
			require.Equal(t, strings.Count(whole, "\n!! "), strings.Count(p, "\n!! "))
			// A page begins with a heading, and none stands at its end.
			rest := p[strings.Index(p, "page "):]
			list := strings.Split(strings.TrimSuffix(rest, "\n"), "\n")
			require.NotRegexp(t, `^-+$`, list[len(list)-1])
			for _, l := range list {
				if l = strings.TrimSpace(strings.TrimPrefix(l, "- ")); strings.HasPrefix(l, "item ") || strings.HasPrefix(l, "note ") {
					f := strings.Fields(l)
					body = append(body, f[0]+" "+f[1])
				}
			}
			for _, name := range want { // nothing is parted from its details
				if n := strings.Count(whole, "detail of "+name+"\n"); n > 0 && strings.Contains(p, name+"\n") {
					require.Equal(t, n, strings.Count(p, "detail of "+name+"\n"), name)
				}
			}
		}
		require.Equal(t, want, body)
		continued += strings.Count(strings.Join(got, ""), "(continued)")
	}
	require.Greater(t, continued, 30)
	require.Greater(t, many, 30)
}

// What is longer than a page is parted, and nothing of it is lost.
func TestPages_LongerThanAPage(t *testing.T) {
	d := sampleWeek()
	it := report.Item{Head: report.Plain("long")}
	for i := range 200 {
		it.Details = append(it.Details, report.Plain(fmt.Sprintf("line %d.", i)))
	}
	d.Sections = []report.Section{{Key: "x", Title: "X", Items: []report.Item{it}}}
	got := pages(t, d, Options{}, 40)
	require.Greater(t, len(got), 5)
	all := strings.Join(got, "")
	for i := range 200 {
		require.Contains(t, all, fmt.Sprintf("line %d.", i))
	}
	for _, p := range got {
		require.LessOrEqual(t, strings.Count(p, "\n"), 40)
	}
}
