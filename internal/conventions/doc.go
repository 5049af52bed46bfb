// Package conventions holds no code: its tests check the rules that
// DEVELOPERS.md sets for all packages.
package conventions
