package cli

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFold(t *testing.T) {
	long := strings.TrimSpace(strings.Repeat("word ", 30))
	for _, x := range []struct{ name, text, want string }{
		{"short", "leafturn: x\n  do: y", "leafturn: x\n  do: y"},
		{"long", long, strings.TrimSpace(strings.Repeat("word ", 20)) + "\n    " + strings.TrimSpace(strings.Repeat("word ", 10))},
		{"indent", "  do: " + long, "  do: " + strings.TrimSpace(strings.Repeat("word ", 19)) + "\n      " + strings.TrimSpace(strings.Repeat("word ", 11))},
		{"command whole", long[:94] + " `leafturn void visit 2`", long[:94] + "\n    `leafturn void visit 2`"},
		{"value whole", long[:94] + ` "a b c d e"`, long[:94] + "\n" + `    "a b c d e"`},
		{"mark never closed", long[:94] + " it's \"open and on", long[:94] + " it's\n    \"open and on"},
	} {
		require.Equal(t, x.want, fold(x.text, lineWidth), x.name)
		require.Equal(t, x.text, fold(x.text, 0), x.name)
	}
}

// Folding changes blanks into line ends and nothing else, and no line is longer
// than it must be.
func TestFold_Property(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zé]{1,20}`), 1, 60).Draw(t, "words")
		text := strings.Join(words, " ")
		width := rapid.IntRange(30, lineWidth).Draw(t, "width")
		got := fold(text, width)
		require.Equal(t, words, strings.Fields(got))
		for _, line := range strings.Split(got, "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), width)
		}
	})
}
