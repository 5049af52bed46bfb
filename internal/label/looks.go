package label

import (
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Look is what an active needs to know of a pest before it goes on, with the
// answer that stands in the bed.
type Look struct {
	Active, Pest string
	Fits         string   // the answer with which it works
	Fails        []string // the answers with which it does not
	Question     string   // follows "whether"
	Why          string   // why it is asked, in a clause
	Instead      string   // what to do where it fails
	Days         int      // how long an answer stands

	Answer string // one of Fits and Fails; "" is not noted
}

// Looks are the looks at a pest, with what was noted in a bed by a day.
func Looks(all []Look, done []farm.Done, bed, pest string, on civil.Date) []Look {
	var out []Look
	for _, k := range all {
		if k.Pest == pest {
			k.Answer, _ = farm.AnswerOn(done, bed, pest, append([]string{k.Fits}, k.Fails...), on, k.Days)
			out = append(out, k)
		}
	}
	return out
}

// looks refuses a product that is of no use on what was found, or where nobody
// has looked.
func (r Request) looks(d *Decision) {
	for _, k := range r.Needs() {
		switch {
		case k.Answer == k.Fits:
		case k.Answer == "":
			d.refuse(Rule{Code: CodeLook, Unknown: true,
				Words: "nobody has noted whether " + k.Question + "; " + k.Why + "; look at the bed today",
				Note:  "leafturn did " + k.Pest + " " + k.Fits + " BED (or " + strings.Join(k.Fails, ", ") + ")"})
		default:
			d.refuse(Rule{Code: CodeUnfit, Words: strings.ReplaceAll(k.Answer, "_", " ") + " were noted: " + k.Why + "; instead: " + k.Instead})
		}
	}
}

// Needs are the looks that the actives of the label ask for.
func (r Request) Needs() []Look {
	var out []Look
	for _, k := range r.Looks {
		if r.holds(r.Label, k.Active) {
			out = append(out, k)
		}
	}
	return out
}
