package render

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is counted without the library is what the library says, alone and
// beside any other such character.
func TestWidth(t *testing.T) {
	var all []rune
	for r := rune(0); r <= 0x10ffff; r++ {
		if single(r) {
			all = append(all, r)
		}
	}
	require.Greater(t, len(all), 500)
	for _, r := range all {
		require.Equal(t, 1, cells.RuneWidth(r), "%q", r)
		var pairs strings.Builder
		for _, s := range all {
			pairs.WriteRune(r)
			pairs.WriteRune(s)
		}
		require.Equal(t, cells.StringWidth(pairs.String()), width(pairs.String()), "%q", r)
	}
	for _, s := range []string{"a\u0301", "漢字", "👩‍🌾 field", "soft\u00adhyphen", "\x1b[1m", "a\tb"} {
		require.Equal(t, cells.StringWidth(s), width(s), "%q", s)
	}
}
