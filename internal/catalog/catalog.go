// Package catalog holds the facts that the program works from: pests, how
// they are counted, action levels, steps, cautions, natural enemies and their
// release rates, side effects of products, cover crops, companion plants, what
// stages need, how fast populations grow and predators eat, and the limits of
// nights and days.
//
// Facts are data: CSV files under data, embedded in the program. Every row
// says what it rests on ("published" with its source, "common practice" or
// "from memory"). Long tables are in the row order of the tables they were
// gathered in, with key columns put in front, so a person can check them line
// by line. Load reads and checks all of them; every problem is reported with
// its file, row and column.
//
// Values come back by value and lists as copies of the list; the slices and
// pointers inside a row are shared and must not be changed. A Catalog is safe
// for use by several goroutines.
//
// Not here: the farm's own overrides (they are records of the farm), product
// labels (the grower transcribes them), and any decision.
package catalog

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"maps"
	"slices"

	"leafturn/internal/diag"
	"leafturn/internal/units"
)

//go:embed data/*.csv
var embedded embed.FS

// DataDate is the day on which the facts were last gathered or changed.
const DataDate = "2026-11-29"

// Catalog is one loaded set of facts.
type Catalog struct {
	Version string // DataDate and a short hash of the files: "2026-11-25+1a2b3c4d"

	pests        []Pest
	enemies      []Enemy
	measures     []Measure
	protocols    []Protocol
	thresholds   []Threshold
	actions      []Action
	safety       []Safety
	agents       []Agent
	dayLengths   []DayLength
	rates        []ReleaseRate
	actives      []Active
	aparts       []Apart
	looks        []Look
	minutes      []Minutes
	generations  []Generation
	sideEffects  []SideEffect
	waits        []DefaultWait
	covers       []Cover
	coverEffects []CoverEffect
	coverHosts   []CoverHost
	companions   []Companion
	plants       []CompanionPlant
	virusHosts   []VirusHost
	mixes        []CompanionMix
	disputes     []CompanionDispute
	taylor       []Taylor
	developments []Development
	clockActions []ClockAction
	limits       []Limit
	growthRates  []GrowthRate
	growthLimits []growthLimit

	pestWords  map[string]int // index into pests
	enemyWords map[string]int
	plantWords map[string]int    // index into plants
	activeKeys map[string]string // name or alias in lower case → canonical key
}

// Files returns the embedded data files, as they are printed or exported.
func Files() fs.FS {
	sub, err := fs.Sub(embedded, "data")
	if err != nil {
		panic("catalog: " + err.Error()) // the directory is compiled in
	}
	return sub
}

// Load reads and checks the embedded facts, with their words in a system of
// units. An error is a *diag.List with every problem; it would be a mistake in
// the program, not of the user.
func Load(system units.System) (*Catalog, error) { return LoadFS(Files(), system) }

// LoadFS reads and checks facts from the root of any file system. The error
// is a *diag.List with every problem, each with its file, row and column.
func LoadFS(fsys fs.FS, system units.System) (*Catalog, error) {
	l := &loader{reader: &reader{fsys: fsys, system: system, files: map[string][]byte{}, list: &diag.List{Kept: "nothing was loaded from these files"}}, c: &Catalog{}}
	l.pests()
	l.enemies()
	l.protocols()
	l.thresholds()
	l.safety()
	l.agents()
	l.actions()
	l.releases()
	l.generations()
	l.dayLengths()
	l.sideEffects()
	l.covers()
	l.companionPlants()
	l.taylor()
	l.development()
	l.growth()
	if err := l.list.Err(); err != nil {
		return nil, err
	}
	l.c.Version = version(l.files)
	return l.c, nil
}

// Version is the version of the embedded facts, without reading their rows.
func Version() (string, error) {
	names, err := fs.Glob(Files(), "*.csv")
	if err != nil {
		return "", err
	}
	files := map[string][]byte{}
	for _, name := range names {
		if files[name], err = fs.ReadFile(Files(), name); err != nil {
			return "", diag.Failf(err, "put the file back", "cannot read %s", name)
		}
	}
	return version(files), nil
}

// version hashes names and contents of the files in the order of their names.
func version(files map[string][]byte) string {
	h := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		h.Write([]byte(name))
		h.Write([]byte{0})
		h.Write(files[name])
		h.Write([]byte{0})
	}
	return DataDate + "+" + hex.EncodeToString(h.Sum(nil))[:8]
}
