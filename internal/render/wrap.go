package render

import (
	"strings"
	"unicode"

	"github.com/mattn/go-runewidth"

	"leafturn/internal/pattern"
)

// cells measures text in terminal cells. It is fixed here because the
// library's default follows the locale, and the same document must give the
// same lines everywhere.
var cells = &runewidth.Condition{EastAsianWidth: false, StrictEmojiNeutral: true}

// width is how many cells s takes. Text in one cell a character, as nearly all
// of ours is, is counted without the library, whose tables take a millisecond to
// build (TestWidth).
func width(s string) int {
	n := 0
	for _, r := range s {
		if !single(r) {
			return cells.StringWidth(s)
		}
		n++
	}
	return n
}

// single tells characters of one cell that never join with others: printable
// Latin, and the dashes, quotes, arrows and signs of our own texts.
func single(r rune) bool {
	return r >= ' ' && r <= '~' || r >= 0xa0 && r < 0x300 && r != 0xad || strings.ContainsRune("–—‘’“”…•→≤≥−×", r)
}

// clean makes text from people safe to print: control characters (a stray
// escape sequence would recolour the terminal) and marks that reverse the
// reading direction are taken out, line breaks and tabs become spaces, and
// broken UTF-8 is replaced.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\u2028' || r == '\u2029':
			return ' '
		case unicode.IsControl(r),
			r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// Non-breaking spaces hold words together until a text is wrapped; loosen
// turns them into the spaces that are printed.
const nbsp = "\u00a0"

func loosen(s string) string { return strings.ReplaceAll(s, nbsp, " ") }

// together finds spaces at which a line should not break: inside a date, in
// front of a unit, between the numbers of a reference.
var together = pattern.New(`\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2}\b(?: \d{4}\b)?|\d (?:°C|°F|%|mm|cm|m|m²|ha|g|kg|ml|L)(?:$|[\s.,;:)/])|\[\d+(?:, \d+)+\]`)

// hold puts non-breaking spaces where a line should not break.
func hold(s string) string {
	return together().ReplaceAllStringFunc(s, func(m string) string {
		end := strings.TrimRight(m, " ") // a space after a unit may break
		return strings.ReplaceAll(end, " ", nbsp) + m[len(end):]
	})
}

// wrap breaks s into lines of at most w cells, at spaces. A longer word is
// broken behind a hyphen, stroke, comma or underscore where that uses at
// least half of the line, otherwise where the line is full. A URL is never
// broken: it stands alone on its line and may be longer than w.
func wrap(s string, w int) []string {
	w = max(w, 1)
	var lines []string
	line, used := "", 0
	flush := func() {
		if line != "" {
			lines = append(lines, line)
		}
		line, used = "", 0
	}
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' }) {
		n := width(word)
		switch {
		case used > 0 && used+1+n <= w:
			line, used = line+" "+word, used+1+n
			continue
		case n <= w:
			flush()
			line, used = word, n
			continue
		case strings.Contains(word, "://"):
			flush()
			lines = append(lines, word)
			continue
		}
		// A word longer than a line begins on the line that is open if a
		// good part of it fits there.
		room := w
		if used > 0 && w-used-1 >= max(w/3, 2) {
			room = w - used - 1
		} else {
			flush()
		}
		for width(word) > room {
			head := cut(word, room)
			if used > 0 {
				line += " "
			}
			line += head
			word = word[len(head):]
			flush()
			room = w
		}
		line, used = word, width(word)
	}
	flush()
	return lines
}

// cut returns the first part of word, of at most w cells but at least one
// character, whole as people see it (letter with its accents).
func cut(word string, w int) string {
	head := cells.Truncate(word, w, "")
	if head == "" { // one character wider than the line
		for w++; head == "" && w < 20; w++ {
			head = cells.Truncate(word, w, "")
		}
		if head == "" {
			return word
		}
	}
	if i := strings.LastIndexAny(head, "-/,_"); i >= len(head)/2 {
		return head[:i+1]
	}
	return head
}

// pad returns s filled with spaces to w cells, on the left if right-aligned.
func pad(s string, w int, right bool) string {
	fill := strings.Repeat(" ", max(w-width(s), 0))
	if right {
		return fill + s
	}
	return s + fill
}
