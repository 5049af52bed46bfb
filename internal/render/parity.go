package render

import (
	"bytes"
	"encoding/json"
	"strings"

	"leafturn/internal/pattern"
)

// printed finds the numbers in words: with comma thousands or without, and
// an optional sign. Group 2 is the number, 1 what stands before it, 3 a "%".
var printed = pattern.New(`(^|[^\p{L}\d.])([-−]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?)(%?)`)

var oddsWords = pattern.New(`\b(?:about|less than|more than) \d+ in \d+`)

// NotInJSON returns the numbers printed in text that are not in the JSON of
// the same document, in the order of the text. It serves tests: everything a
// person can read must be there for a machine too. A printed number counts as
// there when a JSON number gives it after rounding to its decimals, when a
// proportion gives it as a percentage or in words ("about 7 in 10"), or when
// it stands in a JSON string. A number without a sign also matches a negative
// one ("3 days ago"). Errors: js is not JSON.
func NotInJSON(text string, js []byte) ([]string, error) {
	var nums []float64
	var words []string
	dec := json.NewDecoder(bytes.NewReader(js))
	dec.UseNumber()
	var root any
	if err := dec.Decode(&root); err != nil {
		return nil, err
	}
	var walk func(any)
	walk = func(x any) {
		switch x := x.(type) {
		case map[string]any:
			for _, v := range x {
				walk(v)
			}
		case []any:
			for _, v := range x {
				walk(v)
			}
		case string:
			words = append(words, x)
		case json.Number:
			f, err := x.Float64()
			if err == nil {
				nums = append(nums, f)
			}
		}
	}
	walk(root)
	inWords := map[string]bool{}
	for _, s := range words {
		for _, m := range printed().FindAllStringSubmatch(s, -1) {
			inWords[plainNumber(m[2])] = true
			inWords[strings.TrimLeft(plainNumber(m[2]), "-")] = true
		}
	}
	for _, f := range nums { // chances are printed as words
		if f >= 0 && f <= 1 {
			for _, m := range oddsWords().FindAllString(Chance(f), -1) {
				inWords[m] = true
			}
		}
	}
	var missing []string
	rest := oddsWords().ReplaceAllStringFunc(strings.Join(strings.Fields(text), " "), func(s string) string {
		if inWords[s] {
			return "odds"
		}
		return s
	})
	for _, m := range printed().FindAllStringSubmatch(rest, -1) {
		n := plainNumber(m[2])
		if inWords[n] || inNumbers(nums, n, m[1], m[3] == "%") {
			continue
		}
		missing = append(missing, strings.TrimSpace(m[2]+m[3]))
	}
	return missing, nil
}

// plainNumber drops commas, leading zeros and the typographic minus.
func plainNumber(s string) string {
	s = strings.ReplaceAll(strings.ReplaceAll(s, ",", ""), "−", "-")
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	s = strings.TrimLeft(s, "0")
	if s == "" || s[0] == '.' {
		s = "0" + s
	}
	return sign + s
}

func inNumbers(nums []float64, n, before string, percent bool) bool {
	decimals := 0
	if i := strings.IndexByte(n, '.'); i >= 0 {
		decimals = len(n) - i - 1
	}
	for _, f := range nums {
		if percent && f >= 0 && f <= 1 {
			p := strings.TrimSuffix(Percent(f), "%")
			if p == n || p == before+n {
				return true
			}
		}
		r := plainNumber(FormatNumber(f, decimals))
		if r == n || r == "-"+n {
			return true
		}
	}
	return false
}
