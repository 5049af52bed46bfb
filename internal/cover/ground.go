package cover

import (
	"fmt"
	"sort"
	"strings"
)

// soilBound reports whether an id is a pest or disease that lives in the soil.
func soilBound(pest string) bool { return BedBound(pest) && pest != "slug" && pest != "earwig" }

// found is the pressure from which a soil pest counts as found in a bed: a chance
// of 5 % that it was over its action level. Source: common practice.
const found = 0.1

// ground returns what the bed's soil, its water and the viruses found there say
// of an option of one crop: R10, R14, R16 and the rule on hosts.
func ground(o Option, bed Bed, site Site, rules Rules) []Reason {
	var out []Reason
	add := func(rule string, k Kind, format string, args ...any) {
		out = append(out, Reason{rule, k, fmt.Sprintf(format, args...)})
	}
	c := o.Crop

	// Hosts of a soil pest found in the bed.
	if rules.HostScore > 0 {
		for _, e := range o.Effects {
			level, known := bed.pressure(e.Pest)
			if soilBound(e.Pest) && known && level >= found && e.Direction == "increases" && e.Score >= rules.HostScore {
				add("host", Refused, "it raises %s (%+d, evidence %s), which was found in this bed", e.Pest, e.Score, e.Grade)
			}
		}
	}

	// R10: no bridge for a virus of dahlia.
	var hosted, open, others []string
	for _, v := range bed.Viruses {
		switch hosts, known := c.Hosts[v]; {
		case hosts:
			hosted = append(hosted, v)
		case !known:
			open = append(open, v)
		}
	}
	for v, hosts := range c.Hosts {
		if hosts && !contains(bed.Viruses, v) {
			others = append(others, v)
		}
	}
	sort.Strings(others)
	if len(hosted) > 0 {
		add("R10", Refused, "it hosts %s, which was found in this bed", strings.Join(hosted, ", "))
	}
	if len(open) > 0 {
		add("R10", NotKnown, "whether it hosts %s, found in this bed, is not known; end it and its weeds 2 weeks before dahlias come up", strings.Join(open, ", "))
	}
	if len(others) > 0 {
		add("R10", Warning, "it hosts %s: none alive within %s when dahlias come up, or scout it weekly", strings.Join(others, ", "), site.Units.Length(10))
	}

	// R14: a summer cover needs water.
	if o.Rest && bed.NoWater {
		switch needs := c.Irrigation; {
		case needs == "":
			add("R14", NotKnown, "what water it needs is not known, and the bed has none")
		case needs == "low":
		case strings.HasPrefix(needs, "low"):
			add("R14", Warning, "its need of water is %s, and the bed has none: sow before rain", needs)
		default:
			add("R14", Refused, "its need of water is %s, and the bed has none", needs)
		}
	}

	// R16: no ley before dahlias where wireworm or symphylan was found.
	if o.Rest && c.Perennial {
		for _, pest := range []string{"wireworm", "symphylan"} {
			if level, known := bed.pressure(pest); known && level >= found {
				add("R16", Refused, "a year of it is a ley, and %s was found in this bed", pest)
			}
		}
	}
	return out
}
