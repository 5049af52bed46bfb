package sheet_test

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// A sheet in UTF-16 gives the visits of the same sheet in UTF-8, with its mark
// or without, the low byte first or the high one.
func TestUTF16(t *testing.T) {
	text := "date,bed,pest,trap,count,note\r\n" + strings.Repeat("2026-07-06,B3,slug,1,4,nach dem Regen – naß\r\n", 1)
	dir := t.TempDir()
	put := func(b []byte) string {
		path := filepath.Join(dir, "x.csv")
		require.NoError(t, os.WriteFile(path, b, 0o644))
		return path
	}
	want, _, err := read(put([]byte(text)), sheet.Map{})
	require.NoError(t, err)
	require.Len(t, want, 1)
	for name, order := range map[string]binary.AppendByteOrder{"low byte first": binary.LittleEndian, "high byte first": binary.BigEndian} {
		for mark, head := range map[string]string{"with a mark": "\uFEFF", "without": ""} {
			var b []byte
			for _, u := range utf16.Encode([]rune(head + text)) {
				b = order.AppendUint16(b, u)
			}
			got, res, err := read(put(b), sheet.Map{})
			require.NoError(t, err, name+", "+mark)
			require.Empty(t, res.Problems, name+", "+mark)
			require.Equal(t, want, got, name+", "+mark)
		}
	}
}
