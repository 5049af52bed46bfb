package diag_test

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/diag"
)

func TestProblem_Text(t *testing.T) {
	p := &diag.Problem{
		File: "notes.txt", Row: 14, Col: 4,
		What: `unknown pest "mitte"` + diag.DidYouMean("mitte", []string{"mite", "slug"}),
		Do:   "correct line 14 and enter the same file again",
		Kept: "nothing from this file was stored",
	}
	require.Equal(t, `notes.txt:14:4: unknown pest "mitte"; did you mean "mite"?
  do: correct line 14 and enter the same file again
  kept: nothing from this file was stored`, p.Error())
	require.Equal(t, "line 3: x", (&diag.Problem{Row: 3, What: "x"}).Error())
	require.Equal(t, "x", (&diag.Problem{What: "x"}).Error())
}

func TestList_SortsAndUnwraps(t *testing.T) {
	var l diag.List
	require.NoError(t, l.Err())
	l.Add(&diag.Problem{File: "a", Row: 9, What: "second", Err: fs.ErrNotExist})
	l.Add(&diag.Problem{File: "a", Row: 2, What: "first"})
	l.Kept = "nothing"
	require.Equal(t, "a:2: first\na:9: second\n  kept: nothing", l.Err().Error())
	require.ErrorIs(t, l.Err(), fs.ErrNotExist)
}

func TestCode(t *testing.T) {
	use := diag.Usagef("read --help", "bad")
	require.Equal(t, 0, diag.Code(nil))
	require.Equal(t, 2, diag.Code(use))
	require.Equal(t, 2, diag.Code(fmt.Errorf("wrapped: %w", use)))
	require.Equal(t, 1, diag.Code(errors.New("boom")))
	require.Equal(t, 1, diag.Code(diag.Failf(fs.ErrExist, "", "boom")))
	var l diag.List
	l.Add(diag.Failf(nil, "", "a"))
	require.Equal(t, 1, diag.Code(l.Err()))
	l.Add(use)
	require.Equal(t, 2, diag.Code(l.Err()))
}

func TestNearest(t *testing.T) {
	known := []string{"slug", "mite", "earwig", "thrips"}
	require.Equal(t, "earwig", diag.Nearest("erwig", known))
	require.Equal(t, "mite", diag.Nearest("MITES", known))
	require.Equal(t, "slug", diag.Nearest("slgu", known), "swapped letters are one slip")
	require.Empty(t, diag.Nearest("lsgu", known), "two swaps are not")
	require.Empty(t, diag.Nearest("wombat", known))
	require.Empty(t, diag.Nearest("x", known))
}
