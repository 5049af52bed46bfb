// Package diag holds the errors that people read: what was wrong, where, what
// to do about it, and what was kept.
//
// A Problem is one such error; a List is all problems of one input, in order.
// Commands map them to exit codes in one place with Code.
package diag

import (
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Exit codes of the program.
const (
	CodeDone   = 0 // done; "look again" is a result, so it is done
	CodeFailed = 1 // failed: the work could not be carried out
	CodeUsage  = 2 // used wrongly: the words or values given were off
)

// Problem is one error for a person.
type Problem struct {
	File  string // the file, or "" when the words came from the command line
	Row   int    // 1-based line or row; 0 when there is none
	Col   int    // 1-based column in characters; 0 when there is none
	What  string // what was wrong, quoting the user's text
	Do    string // what to do
	Kept  string // what was stored or kept, "" when nothing was at stake
	Usage bool   // true when the tool was used wrongly (exit 2)
	Err   error  // the cause, for errors.Is; may be nil
}

// Error gives the problem on up to three lines:
//
//	notes.txt:14:4: unknown pest "mitte"; did you mean "mite"?
//	  do: correct line 14 and enter the same file again
//	  kept: nothing from this file was stored
func (p *Problem) Error() string {
	var b strings.Builder
	b.WriteString(p.Place())
	b.WriteString(p.What)
	if p.Do != "" {
		b.WriteString("\n  do: " + p.Do)
	}
	if p.Kept != "" {
		b.WriteString("\n  kept: " + p.Kept)
	}
	return b.String()
}

// Place returns "file:row:column: " with the parts that are known, or "".
func (p *Problem) Place() string {
	var parts []string
	if p.File != "" {
		parts = append(parts, p.File)
	}
	if p.Row > 0 {
		if p.File == "" {
			parts = append(parts, "line "+fmt.Sprint(p.Row))
		} else {
			parts = append(parts, fmt.Sprint(p.Row))
		}
		if p.Col > 0 {
			parts = append(parts, fmt.Sprint(p.Col))
		}
	} else if p.Col > 0 && p.File == "" {
		parts = append(parts, "column "+fmt.Sprint(p.Col))
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, ":") + ": "
}

// Unwrap returns the cause.
func (p *Problem) Unwrap() error { return p.Err }

// List is all the problems of one input.
type List struct {
	Problems []*Problem
	Kept     string // said once, after the last problem
}

// Add appends a problem.
func (l *List) Add(p *Problem) { l.Problems = append(l.Problems, p) }

// Err returns the list as an error, or nil when it is empty. The problems are
// sorted by file, row and column.
func (l *List) Err() error {
	if len(l.Problems) == 0 {
		return nil
	}
	sort.SliceStable(l.Problems, func(i, j int) bool {
		a, b := l.Problems[i], l.Problems[j]
		if a.File != b.File {
			return a.File < b.File
		}
		if a.Row != b.Row {
			return a.Row < b.Row
		}
		return a.Col < b.Col
	})
	return l
}

// Error lists every problem, then what was kept.
func (l *List) Error() string {
	lines := make([]string, 0, len(l.Problems)+1)
	for _, p := range l.Problems {
		lines = append(lines, p.Error())
	}
	if l.Kept != "" {
		lines = append(lines, "  kept: "+l.Kept)
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the problems, so errors.Is and errors.As see each.
func (l *List) Unwrap() []error {
	out := make([]error, len(l.Problems))
	for i, p := range l.Problems {
		out[i] = p
	}
	return out
}

// Usagef returns a Problem for a tool used wrongly (exit 2).
func Usagef(do, format string, args ...any) *Problem {
	return &Problem{What: fmt.Sprintf(format, args...), Do: do, Usage: true}
}

// Failf returns a Problem for work that failed (exit 1), wrapping cause.
func Failf(cause error, do, format string, args ...any) *Problem {
	return &Problem{What: fmt.Sprintf(format, args...), Do: do, Err: cause}
}

// Code returns the exit code for err: 0 for nil, 2 when any problem in it is
// a usage problem, 1 otherwise.
func Code(err error) int {
	if err == nil {
		return CodeDone
	}
	var l *List
	if errors.As(err, &l) {
		for _, p := range l.Problems {
			if p.Usage {
				return CodeUsage
			}
		}
		return CodeFailed
	}
	var p *Problem
	if errors.As(err, &p) && p.Usage {
		return CodeUsage
	}
	return CodeFailed
}

// Nearest returns the known name closest to word, or "" when none is close
// enough to be a likely slip (edit distance at most a third of the length,
// at least 1, at most 3; two neighbouring letters swapped are one edit). Ties
// go to the name that comes first in the alphabet.
func Nearest(word string, known []string) string {
	word = strings.ToLower(word)
	sorted := append([]string(nil), known...)
	sort.Strings(sorted)
	limit := min(max(len([]rune(word))/3, 1), 3)
	best, bestD := "", limit+1
	for _, k := range sorted {
		d := levenshtein.ComputeDistance(word, strings.ToLower(k))
		if swapped(word, strings.ToLower(k)) {
			d = 1
		}
		if d < bestD {
			best, bestD = k, d
		}
	}
	return best
}

// swapped reports whether a and b differ by one pair of neighbouring letters
// that changed places.
func swapped(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		if x[i] != y[i] {
			return i+1 < len(x) && x[i] == y[i+1] && x[i+1] == y[i] && string(x[i+2:]) == string(y[i+2:])
		}
	}
	return false
}

// DidYouMean returns `; did you mean "x"?` for the nearest known name, or "".
func DidYouMean(word string, known []string) string {
	if n := Nearest(word, known); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	return ""
}
