package forecast_test

import (
	"leafturn/internal/belief"
	"leafturn/internal/testkit"
)

var visit, seeded = testkit.Visit, testkit.Seeded

func must(b belief.Belief, err error) belief.Belief {
	if err != nil {
		panic(err)
	}
	return b
}
