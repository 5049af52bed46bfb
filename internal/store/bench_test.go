package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/require"
)

// manyVisits makes n invented visits of 40 units in 60 beds, five pests and
// as many weeks as it takes.
func manyVisits(n int) []farm.Visit {
	rng := rand.New(rand.NewPCG(1, 2))
	pests := []string{"slug", "mite", "thrips", "earwig", "wireworm"}
	out := make([]farm.Visit, n)
	for i := range out {
		v := farm.Visit{
			Bed: fmt.Sprintf("B%d", i%60+1), Pest: pests[i/60%5], Unit: "unit", Stratum: farm.Random,
			Date: day("2020-01-06").AddDays(7 * (i / 300)), Counts: make([]farm.UnitCount, 40),
		}
		for u := range v.Counts {
			v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 3), Seen: true}
		}
		out[i] = v
	}
	return out
}

func benchStore(b *testing.B, visits []farm.Visit) *store.Store {
	s, err := store.Create(ctx, filepath.Join(b.TempDir(), "farm.db"), testFarm)
	require.NoError(b, err)
	b.Cleanup(func() { _ = s.Close() })
	update(b, s, func(tx *store.Tx) error {
		for i := range 60 {
			if _, err := tx.AddBed(testBed(fmt.Sprintf("B%d", i+1))); err != nil {
				return err
			}
		}
		return addAll(tx, visits)
	})
	return s
}

func addAll(tx *store.Tx, visits []farm.Visit) error {
	for _, v := range visits {
		if _, err := tx.AddVisit(v, at); err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkAddVisits stores 2,300 visits of 40 units in one transaction, with
// a context that can be cancelled, as a command has.
func BenchmarkAddVisits(b *testing.B) {
	visits := manyVisits(2300)
	cancellable, cancel := context.WithCancel(ctx)
	defer cancel()
	for b.Loop() {
		b.StopTimer()
		s := benchStore(b, nil)
		b.StartTimer()
		if err := s.Update(cancellable, func(tx *store.Tx) error { return addAll(tx, visits) }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N*len(visits)*40)/b.Elapsed().Seconds(), "units/s")
}

// BenchmarkOpen is what each command pays before it does anything.
func BenchmarkOpen(b *testing.B) {
	path := benchStore(b, nil).Path()
	for b.Loop() {
		s, err := store.Open(ctx, path)
		if err != nil {
			b.Fatal(err)
		}
		_ = s.Close()
	}
}

// BenchmarkLatestVisits and the next read a store of 23,000 visits.
func BenchmarkLatestVisits(b *testing.B) {
	s := benchStore(b, manyVisits(23000))
	for b.Loop() {
		view(b, s, func(tx *store.Tx) error {
			hs, err := tx.LatestVisits(civil.Date{})
			if len(hs) != 300 {
				b.Fatal(len(hs))
			}
			return err
		})
	}
}

func BenchmarkHeadersEightWeeks(b *testing.B) {
	s := benchStore(b, manyVisits(23000))
	to := day("2020-01-06").AddDays(7 * (23000/300 - 1))
	for b.Loop() {
		view(b, s, func(tx *store.Tx) error {
			hs, err := tx.Headers(store.Filter{From: to.AddDays(-55), To: to})
			if len(hs) != 2400 {
				b.Fatal(len(hs))
			}
			return err
		})
	}
}
