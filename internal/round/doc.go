// Package round plans a scouting round: which of the things that are due are
// kept when time is short, and in what order the beds are walked.
//
// Not here: what is due (package week), the chances behind a risk (package
// trend), and the minutes that a sample takes.
package round
