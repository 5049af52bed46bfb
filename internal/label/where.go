package label

import (
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/sun"
)

// Where fills what the farm and the bed have said of their place: the distance
// to water, the animals that come to the bed, and the times of sunrise and
// sunset on the request's date. What was not said stays unknown.
func (r Request) Where(f farm.Farm) Request {
	r.WaterM, r.Country = r.Bed.WaterM, f.Country
	if len(r.Crops) == 0 && r.Bed.Crop != "" {
		r.Crops = []string{r.Bed.Crop}
	}
	if said := strings.TrimSpace(r.Bed.Animals); said != "" {
		r.AnimalsChecked = true
		if !strings.EqualFold(said, "none") {
			r.Animals = []string{said}
		}
	}
	if f.Latitude != nil && f.Longitude != nil {
		if d, ok := sun.On(r.Date, *f.Latitude, *f.Longitude); ok {
			r.Sunrise, r.Sunset = d.Rise, d.Set
		}
	}
	return r
}
