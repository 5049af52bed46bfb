package cli

import (
	"strings"
	"unicode/utf8"
)

// lineWidth is the most columns that a line of an error has on a terminal, unless
// a command, a quoted value or a path alone is longer.
const lineWidth = 100

// fold breaks the long lines of an error at blanks, never within a command or a
// value in quotation marks, so that both can be copied. With no width nothing is
// broken: what another program reads has a line for each thing.
func fold(text string, width int) string {
	if width <= 0 {
		return text
	}
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if utf8.RuneCountInString(line) > width {
			lines[i] = foldLine(line, width)
		}
	}
	return strings.Join(lines, "\n")
}

func foldLine(line string, width int) string {
	body := strings.TrimLeft(line, " ")
	indent := strings.Repeat(" ", len(line)-len(body))
	var b strings.Builder
	b.WriteString(indent)
	used := len(indent)
	for i, word := range pieces(body) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case used+1+n > width:
			b.WriteString("\n    " + indent)
			used = len(indent) + 4
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}

// pieces cuts a line at the blanks where it may be broken. A mark that is never
// closed holds nothing together.
func pieces(line string) []string {
	var out []string
	start := 0
	for i := 0; i < len(line); i++ {
		switch c := line[i]; c {
		case '`', '"':
			if end := strings.IndexByte(line[i+1:], c); end >= 0 && end < lineWidth {
				i += end + 1
			}
		case ' ':
			out = append(out, line[start:i])
			start = i + 1
		}
	}
	return append(out, line[start:])
}
