package store

import "testing/fstest"

// WithMigrations opens with other migrations, given as name -> SQL, after the
// embedded ones.
func WithMigrations(more map[string]string) Option {
	files := fstest.MapFS{}
	for _, m := range embedded {
		files["migrations/"+m.name] = &fstest.MapFile{Data: []byte(m.sql)}
	}
	for name, sql := range more {
		files["migrations/"+name] = &fstest.MapFile{Data: []byte(sql)}
	}
	all := mustMigrations(files)
	return func(o *options) { o.migrations = all }
}

// Migrations returns name and text of the embedded migrations.
func Migrations() map[string]string {
	out := map[string]string{}
	for _, m := range embedded {
		out[m.name] = m.sql
	}
	return out
}

// LatestSQL is the query of LatestVisits, for the test of its plan.
const LatestSQL = latestSQL

// WithoutRowid are the tables that the package takes for those without a row number.
var WithoutRowid = withoutRowid
