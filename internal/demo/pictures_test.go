package demo

import (
	"bytes"
	"encoding/xml"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func svgOf(title, alt string) string {
	esc := func(s string) string {
		var b bytes.Buffer
		_ = xml.EscapeText(&b, []byte(s))
		return b.String()
	}
	return `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><title>` + esc(title) + `</title><desc>` + esc(alt) + `</desc><g><text>7</text></g></svg>`
}

func TestPictures_Table(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range Pictures {
		require.Regexp(t, `^[A-Za-z][A-Za-z0-9-]*$`, p.Name)
		require.False(t, seen[p.Name], p.Name)
		seen[p.Name] = true
		require.True(t, strings.HasSuffix(p.Question, "?"), p.Question)
		require.NotEmpty(t, p.Heading)
		words, err := Split(p.Command)
		require.NoError(t, err)
		require.Regexp(t, `^--(out|draw|map)$`, words[len(words)-1], "the file comes last")
	}
	require.GreaterOrEqual(t, len(Pictures), 11)
	for _, s := range Sheets {
		require.Regexp(t, `^[a-z-]+\.(pdf|html)$`, s.File)
		require.False(t, seen[s.File], s.File)
		seen[s.File] = true
		require.True(t, strings.HasSuffix(s.Question, "?"), s.Question)
		words, err := Split(s.Command)
		require.NoError(t, err)
		require.Regexp(t, `^--(out|html)$`, words[len(words)-1], "the file comes last")
	}
}

// The earlier years say that they are invented, and each has its weeks.
func TestWriteEarlier(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, WriteEarlier(dir))
	for _, name := range EarlierYears {
		raw, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(string(raw), "# Invented counts of "+strings.TrimSuffix(name, ".txt")))
		require.Equal(t, 17, strings.Count(string(raw), "\ndate "+strings.TrimSuffix(name, ".txt")+"-"), name)
	}
	require.Error(t, WriteEarlier(filepath.Join(dir, "nothing here")))
}

func TestPicture_Find(t *testing.T) {
	dir := t.TempDir()
	p := Picture{Name: "worked"}
	_, err := p.Find(dir)
	require.ErrorContains(t, err, "worked was not drawn")
	for name, text := range map[string]string{
		"worked-1.svg": svgOf("Page <1>", "It says \"hold\" & more."), "worked-2.svg": svgOf("Page 2", "b"), "worked-10.svg": svgOf("Page 10", "c"),
		"worked-again.svg": svgOf("another picture", "x"), "worked-1.png": "no svg",
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	d, err := p.Find(dir)
	require.NoError(t, err)
	require.Equal(t, []DrawnPage{{"worked-1", "Page <1>", "It says \"hold\" & more."}, {"worked-2", "Page 2", "b"}, {"worked-10", "Page 10", "c"}}, d.Pages)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "worked-3.svg"), []byte("<svg"), 0o644))
	_, err = p.Find(dir)
	require.ErrorContains(t, err, "worked-3.svg cannot be read")
}

// The page holds each picture with its words and its question, and nothing
// from elsewhere.
func TestWriteIndex(t *testing.T) {
	var drawn []Drawn
	for _, p := range Pictures {
		drawn = append(drawn, Drawn{p, []DrawnPage{{p.Name + "-1", "Title <b>", `Alt of "` + p.Name + `" & <i>`}, {p.Name + "-2", "Title 2", "Alt 2 of " + p.Name}}})
	}
	var b bytes.Buffer
	require.NoError(t, WriteIndex(&b, drawn))
	page := b.String()
	require.NotRegexp(t, `(?i)(https?:)?//[a-z]`, page, "nothing is fetched from elsewhere")
	require.NotContains(t, page, "<b>", "words are escaped")
	require.NotContains(t, page, "<script")
	require.Contains(t, page, `<html lang="en">`)
	require.Contains(t, page, "@media print")
	require.Equal(t, 1, strings.Count(page, "<h1>"))
	images := regexp.MustCompile(`<img src="([^"]*)" alt="([^"]*)">`).FindAllStringSubmatch(page, -1)
	require.Len(t, images, 2*len(Pictures))
	n := 0
	for _, d := range drawn {
		require.Contains(t, page, `<h2>`+d.Heading+`</h2>`)
		require.Contains(t, page, `href="#`+d.Name+`"`)
		require.Contains(t, page, `id="`+d.Name+`"`)
		require.Contains(t, html.UnescapeString(page), d.Question)
		require.Contains(t, page, "leafturn "+d.Command+" FILE")
		for _, p := range d.Pages {
			require.Equal(t, p.File+".svg", images[n][1])
			require.Equal(t, p.Alt, html.UnescapeString(images[n][2]))
			for _, kind := range []string{"png", "svg", "pdf"} {
				require.Contains(t, page, `href="`+p.File+"."+kind+`"`)
			}
			n++
		}
	}
	for _, p := range drawn[0].Pages {
		require.Contains(t, html.UnescapeString(page), "In words: "+p.Alt+"</p>")
	}
	require.Equal(t, 1, strings.Count(page, "(with invented counts of three earlier years)"))
	for _, s := range Sheets {
		require.Contains(t, page, `<a href="`+s.File+`">`)
		require.Contains(t, html.UnescapeString(page), s.Question+` <code class="command">leafturn `+s.Command+` FILE</code>`)
	}
	for _, tag := range []string{"nav", "ul", "li", "section", "figure", "figcaption", "h1", "h2", "p", "a", "code", "body", "html"} {
		require.Equal(t, len(regexp.MustCompile("<"+tag+"[ >]").FindAllString(page, -1)), strings.Count(page, "</"+tag+">"), "<%s> is closed", tag)
	}
}
