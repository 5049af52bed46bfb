package app_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
)

// The descriptor of a real export holds to the standard's own profiles
// (testdata/profiles, see SOURCE.md there), and each resource and schema to that
// of its kind.
//
// On 2026-11-29 the standard's own library read three export folders as well:
// the demo's, the demo's with an own level and planned covers, and that of
// internal/store/testdata/v4.db, which has a row in every table; 6,477, 6,510 and
// 42 rows. node 20.20.2, datapackage 1.1.10, tableschema 1.12.6:
//
//	const {Package, validate} = require('datapackage')
//	await validate(JSON.parse(fs.readFileSync('datapackage.json')), {}) // valid, no errors
//	const p = await Package.load('datapackage.json')                    // valid, no errors
//	for (const r of p.resources) {
//	  await r.read({cast: true, relations: true, keyed: true}) // every row, as many as `rows` says
//	  await r.checkRelations()                                 // true
//	}
//
// A day 2026-13-45 and a bed number that is not there, put into a copy, were both
// told by it. Nothing was to be mended.
func TestExport_HoldsToTheProfiles(t *testing.T) {
	c := jsonschema.NewCompiler() // which keeps what it has compiled
	profile := func(name string) *jsonschema.Schema {
		s, err := c.Compile(filepath.Join("testdata", "profiles", name+".json"))
		require.NoError(t, err)
		return s
	}
	out := filepath.Join(t.TempDir(), "out")
	a := busyFarm(t)
	_, _, err := a.Export(ctx, app.ExportOptions{Out: out, Date: a.Today()})
	require.NoError(t, err)
	raw, err := os.ReadFile(filepath.Join(out, "datapackage.json"))
	require.NoError(t, err)
	read := func(text string) map[string]any {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		require.NoError(t, err)
		return v.(map[string]any)
	}
	d := read(string(raw))
	require.NoError(t, profile("data-package").Validate(d))
	require.NoError(t, profile("tabular-data-package").Validate(d))
	resources := d["resources"].([]any)
	require.Len(t, resources, 17)
	for _, r := range resources {
		name := r.(map[string]any)["name"].(string)
		require.NoError(t, profile("data-resource").Validate(r), name)
		require.NoError(t, profile("tabular-data-resource").Validate(r), name)
		require.NoError(t, profile("table-schema").Validate(r.(map[string]any)["schema"]), name)
	}

	// The profiles bite.
	for _, c := range []struct{ was, is string }{
		{`"type": "integer"`, `"type": "whole"`},
		{`"profile": "tabular-data-package"`, `"profile": "data-package"`},
		{`"name": "visits"`, `"name": "The Visits"`},
		{`"hash": "sha256:`, `"hash": "sha256 `},
		{`"required": true`, `"required": "yes"`},
		{`"delimiter": ","`, `"delimiter": 1`},
		{`"primaryKey": [`, `"primaryKey": [1, `},
		{`"fields": [`, `"felder": [`},
	} {
		require.True(t, strings.Contains(string(raw), c.was), c.was)
		bad := read(strings.Replace(string(raw), c.was, c.is, 1))
		require.Error(t, profile("tabular-data-package").Validate(bad), c.is)
	}
}
