// Package pattern holds regular expressions that are compiled when they are
// first used: most commands use none of them, and compiling all takes a fifth
// of the time in which the program starts.
package pattern

import (
	"regexp"
	"sync"
)

// New returns the regular expression of a text, compiled by the first call. The
// text must be well-formed: TestEveryPattern of package conventions compiles
// each one in the program.
func New(text string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
}
