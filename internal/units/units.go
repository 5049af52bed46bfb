// Package units converts between the US and metric units that growers and
// product labels use. It is the only place where conversions live.
//
// Every factor is exact, built from the definitions 1 ft = 0.3048 m,
// 1 lb = 0.45359237 kg, 1 US gal = 231 in³, 1 imperial gal = 4.54609 L.
// Source: NIST Special Publication 811, appendix B (2008).
//
// A bare "oz" (weight or fluid) and a bare "gal" (US or imperial) are refused.
// Weight and volume never convert into each other here.
package units

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Errors that callers tell apart.
var (
	ErrUnknown   = errors.New("unknown unit")
	ErrAmbiguous = errors.New("ambiguous unit")
	ErrDimension = errors.New("units measure different things")
	ErrNumber    = errors.New("not a number")
)

// System is the unit system of people's input and output.
type System string

// The two systems.
const (
	Metric System = "metric"
	US     System = "us"
)

// Dimension tells what a unit measures.
type Dimension string

// The dimensions.
const (
	Length      Dimension = "length"      // base: metre
	Area        Dimension = "area"        // base: square metre
	Mass        Dimension = "mass"        // base: gram
	Volume      Dimension = "volume"      // base: litre
	MassPerArea Dimension = "mass/area"   // base: gram per square metre
	VolPerArea  Dimension = "volume/area" // base: litre per square metre
	MassPerVol  Dimension = "mass/volume" // base: gram per litre
	VolPerVol   Dimension = "volume/volume"
	Speed       Dimension = "speed"                // base: metre per second
	MassPerRow  Dimension = "mass/length of row"   // base: gram per metre
	VolPerRow   Dimension = "volume/length of row" // base: litre per metre
	MassPerUnit Dimension = "mass/plant"           // base: gram per plant
	VolPerUnit  Dimension = "volume/plant"         // base: litre per plant
	Count       Dimension = "count"                // base: one
	CountArea   Dimension = "count/area"
	Temperature Dimension = "temperature" // base: degree Celsius
	DegreeDays  Dimension = "degree-days" // base: degree-days C
)

// Unit is a named unit: a value in it times Factor is the value in the
// dimension's base unit. Temperatures also add an offset, see Convert.
type Unit struct {
	Name      string
	Dimension Dimension
	Factor    float64
}

const (
	ft    = 0.3048
	inch  = 0.0254
	lb    = 453.59237            // g
	oz    = lb / 16              // g
	gal   = 3.785411784          // L, 231 cubic inches
	floz  = gal / 128            // L
	acre  = 43560 * ft * ft      // m²
	msqft = 1000 * ft * ft       // m², 1000 square feet
	yd2   = 9 * ft * ft          // m²
	igal  = 4.54609              // L
	mph   = 5280 * ft / 3600     // m/s
	ha    = 10000.0              // m²
	kg    = 1000.0               // g
	ml    = 0.001                // L
	ton   = 1e6                  // g, tonne
	gpa   = gal / acre           // L/m²
	tbsp  = floz / 2             // L
	tsp   = floz / 6             // L
	qt    = gal / 4              // L
	pint  = gal / 8              // L
	ioz   = igal / 160           // L
	ipint = igal / 8             // L
	kmh   = 1000.0 / 3600        // m/s
	one   = 1.0                  // base units
	hgal  = 100 * gal            // L, 100 US gallons
	perHa = 1 / ha               // per m²
	perAc = 1 / acre             // per m²
	perKf = 1 / (1000 * ft * ft) // per m²
)

var table = map[string]Unit{}

func def(dim Dimension, factor float64, names ...string) {
	u := Unit{names[0], dim, factor}
	for _, n := range names {
		table[n] = u
	}
}

func init() {
	def(Length, one, "m", "metre", "metres", "meter", "meters")
	def(Length, 0.01, "cm")
	def(Length, 0.001, "mm")
	def(Length, ft, "ft", "foot", "feet")
	def(Length, inch, "in", "inch", "inches")
	def(Length, 3*ft, "yd", "yard", "yards")

	def(Area, one, "m2", "m²", "sqm", "sq m")
	def(Area, ft*ft, "ft2", "ft²", "sqft", "sq ft")
	def(Area, yd2, "yd2", "yd²", "sqyd", "sq yd")
	def(Area, acre, "acre", "acres", "ac")
	def(Area, ha, "ha", "hectare", "hectares")
	def(Area, msqft, "1000 ft2", "1000 sq ft", "1000ft2", "1000sqft")

	def(Mass, one, "g", "gram", "grams")
	def(Mass, kg, "kg")
	def(Mass, ton, "t", "tonne")
	def(Mass, lb, "lb", "lbs", "pound", "pounds")
	def(Mass, oz, "oz wt", "oz weight", "oz (weight)", "ozwt")

	def(Volume, one, "L", "l", "litre", "litres", "liter", "liters")
	def(Volume, ml, "mL", "ml")
	def(Volume, gal, "US gal", "us gal", "gal US", "gal us")
	def(Volume, igal, "imp gal", "gal imp", "UK gal", "uk gal")
	def(Volume, floz, "US fl oz", "us fl oz", "fl oz US", "fl oz us")
	def(Volume, ioz, "imp fl oz", "UK fl oz", "uk fl oz")
	def(Volume, ipint, "imp pt", "UK pt")
	def(Volume, qt, "US qt", "us qt")
	def(Volume, pint, "US pt", "us pt")
	def(Volume, tbsp, "US tbsp", "tbsp", "tablespoon")
	def(Volume, tsp, "US tsp", "tsp", "teaspoon")

	for name, g := range map[string]float64{"g": 1, "kg": kg, "t": ton, "lb": lb, "oz wt": oz} {
		def(MassPerArea, g, name+"/m2", name+"/m²")
		def(MassPerArea, g*perHa, name+"/ha")
		def(MassPerArea, g*perAc, name+"/acre", name+"/ac")
		def(MassPerArea, g*perKf, name+"/1000 ft2", name+"/1000 sq ft", name+"/1000ft2", name+"/1000sqft")
		def(MassPerArea, g/(ft*ft), name+"/ft2", name+"/sq ft")
		def(MassPerArea, g/yd2, name+"/yd2", name+"/sq yd")
	}
	for name, l := range map[string]float64{"L": 1, "mL": ml, "US gal": gal, "US fl oz": floz, "US qt": qt, "US pt": pint,
		"imp gal": igal, "imp fl oz": ioz, "imp pt": ipint} {
		def(VolPerArea, l, name+"/m2", name+"/m²")
		def(VolPerArea, l*perHa, name+"/ha")
		def(VolPerArea, l*perAc, name+"/acre", name+"/ac")
		def(VolPerArea, l*perKf, name+"/1000 ft2", name+"/1000 sq ft", name+"/1000ft2", name+"/1000sqft")
	}
	def(VolPerArea, gpa, "US gal/acre")
	mixes()
	def(MassPerVol, 1, "g/L", "g/l")
	def(MassPerVol, lb/hgal, "lb/100 US gal", "lb/100 us gal")
	def(MassPerVol, oz/gal, "oz wt/US gal", "oz wt/us gal")
	def(VolPerVol, 1, "L/L")
	def(VolPerVol, ml, "mL/L", "ml/l")
	def(VolPerVol, 0.01, "% v/v")
	def(VolPerVol, floz/gal, "US fl oz/US gal", "us fl oz/us gal")
	def(VolPerVol, tbsp/gal, "US tbsp/US gal", "tbsp/us gal")
	def(VolPerVol, ioz/igal, "imp fl oz/imp gal")

	def(Speed, one, "m/s")
	def(Speed, kmh, "km/h")
	def(Speed, mph, "mph", "mi/h")

	def(Count, one, "each", "pcs")
	def(CountArea, one, "/m2", "/m²", "per m2", "per m²")
	def(CountArea, perHa, "/ha", "per ha")
	def(CountArea, perAc, "/acre", "per acre")
	def(CountArea, 1/(ft*ft), "/ft2", "per ft2")

	def(Temperature, one, "C", "°C", "degC")
	def(Temperature, 5.0/9, "F", "°F", "degF")
	def(DegreeDays, one, "C-days")
	def(DegreeDays, 5.0/9, "F-days")
}

// mixes defines rates in water, along a row and for a plant. What is defined
// after it in exact constants takes the place of the same name here.
func mixes() {
	water := map[string]float64{"L": 1, "100 L": 100, "US gal": gal, "100 US gal": hgal, "imp gal": igal, "100 imp gal": 100 * igal}
	row := map[string]float64{"m": 1, "100 m": 100, "ft": ft, "100 ft": 100 * ft, "1000 ft": 1000 * ft}
	for _, kind := range []struct {
		amount              map[string]float64
		inWater, row, plant Dimension
	}{
		{map[string]float64{"g": 1, "kg": kg, "lb": lb, "oz wt": oz}, MassPerVol, MassPerRow, MassPerUnit},
		{map[string]float64{"L": 1, "mL": ml, "US gal": gal, "US fl oz": floz, "US qt": qt, "US pt": pint, "US tbsp": tbsp, "US tsp": tsp,
			"imp gal": igal, "imp fl oz": ioz, "imp pt": ipint}, VolPerVol, VolPerRow, VolPerUnit},
	} {
		for name, v := range kind.amount {
			for per, w := range water {
				def(kind.inWater, v/w, name+"/"+per)
			}
			for per, w := range row {
				def(kind.row, v/w, name+"/"+per+" row", name+"/"+per+" of row", name+"/row "+per)
			}
			def(kind.plant, v, name+"/plant")
			def(kind.plant, v/100, name+"/100 plants")
		}
	}
}

var ambiguous = map[string]string{
	"oz":       `"oz wt" for a weight or "US fl oz" for a volume`,
	"ounce":    `"oz wt" for a weight or "US fl oz" for a volume`,
	"ounces":   `"oz wt" for a weight or "US fl oz" for a volume`,
	"gal":      `"US gal" or "imp gal"`,
	"gallon":   `"US gal" or "imp gal"`,
	"gallons":  `"US gal" or "imp gal"`,
	"fl oz":    `"US fl oz" or "imp fl oz"`,
	"floz":     `"US fl oz" or "imp fl oz"`,
	"qt":       `"US qt"`,
	"pt":       `"US pt"`,
	"ton":      `"t" (1000 kg) or the weight in "lb"`,
	"tons":     `"t" (1000 kg) or the weight in "lb"`,
	"rod":      `"ft" or "m"`,
	"degrees":  `"C" or "F"`,
	"°":        `"C" or "F"`,
	"square":   `"m2" or "ft2"`,
	"thousand": `"1000 ft2"`,
}

// Lookup finds a unit by the name a person writes. Errors wrap ErrAmbiguous
// (and say what to write) or ErrUnknown.
func Lookup(name string) (Unit, error) {
	n := strings.Join(strings.Fields(name), " ")
	if u, ok := table[n]; ok {
		return u, nil
	}
	squeezed := strings.ReplaceAll(strings.ReplaceAll(n, " / ", "/"), " per ", "/")
	if u, ok := table[squeezed]; ok {
		return u, nil
	}
	low := strings.ToLower(squeezed)
	for k, u := range table {
		if strings.ToLower(k) == low {
			return u, nil
		}
	}
	for _, part := range strings.FieldsFunc(low, func(r rune) bool { return r == '/' }) {
		part = strings.TrimSpace(strings.TrimLeft(part, "0123456789 "))
		if say, ok := ambiguous[part]; ok {
			return Unit{}, fmt.Errorf("%w %q: write %s", ErrAmbiguous, n, say)
		}
	}
	return Unit{}, fmt.Errorf("%w %q", ErrUnknown, n)
}

// Names returns the canonical unit names of a dimension, sorted.
func Names(dim Dimension) []string {
	seen := map[string]bool{}
	for _, u := range table {
		if u.Dimension == dim {
			seen[u.Name] = true
		}
	}
	out := make([]string, 0, len(seen))
	for n := range seen {
		out = append(out, n)
	}
	sort.Strings(out)
	return out
}

// Quantity is a number with its unit, kept as the person wrote it.
type Quantity struct {
	Value float64
	Unit  Unit
}

// Of makes a quantity; it panics when the unit is not known, so it is for
// constants in our own code.
func Of(value float64, unit string) Quantity {
	u, err := Lookup(unit)
	if err != nil {
		panic("units: " + err.Error())
	}
	return Quantity{value, u}
}

// ParseNumber reads a plain decimal number. It refuses NaN, infinities,
// hexadecimal and digit separators, which strconv would take. Errors wrap
// ErrNumber.
func ParseNumber(s string) (float64, error) {
	s = strings.TrimSpace(s)
	for _, r := range s {
		if (r < '0' || r > '9') && !strings.ContainsRune("+-.eE", r) {
			return 0, fmt.Errorf("%w: %q", ErrNumber, s)
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%w: %q", ErrNumber, s)
	}
	return v, nil
}

// Parse reads a quantity such as "12 m", "1.5lb/1000 sq ft" or "61F".
func Parse(s string) (Quantity, error) {
	s = strings.TrimSpace(s)
	i := 0
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || strings.IndexByte("+-.", s[i]) >= 0) {
		i++
	}
	if i == 0 {
		return Quantity{}, fmt.Errorf("%w: %q", ErrNumber, s)
	}
	v, err := ParseNumber(s[:i])
	if err != nil {
		return Quantity{}, err
	}
	u, err := Lookup(s[i:])
	if err != nil {
		return Quantity{}, err
	}
	return Quantity{v, u}, nil
}

// ParseAs is Parse for a known dimension. A number without a unit is taken in
// fallback; fallback "" refuses it. Errors wrap ErrDimension where the unit
// measures something else.
func ParseAs(s string, dim Dimension, fallback string) (Quantity, error) {
	if v, err := ParseNumber(s); err == nil {
		if fallback == "" {
			return Quantity{}, fmt.Errorf("%w: %q has no unit", ErrUnknown, s)
		}
		u, err := Lookup(fallback)
		return Quantity{v, u}, err
	}
	q, err := Parse(s)
	if err != nil {
		return Quantity{}, err
	}
	if q.Unit.Dimension != dim {
		return Quantity{}, fmt.Errorf("%w: %q is a %s, want a %s", ErrDimension, s, q.Unit.Dimension, dim)
	}
	return q, nil
}

// In returns the value of q in another unit of the same dimension.
// Temperatures are converted as readings: F = 1.8 C + 32. Use Difference for
// temperature differences. Errors wrap ErrUnknown or ErrDimension.
func (q Quantity) In(unit string) (float64, error) {
	u, err := Lookup(unit)
	if err != nil {
		return 0, err
	}
	if u.Dimension != q.Unit.Dimension {
		return 0, fmt.Errorf("%w: %s and %s", ErrDimension, q.Unit.Name, u.Name)
	}
	if u == q.Unit {
		return q.Value, nil
	}
	if u.Dimension == Temperature {
		c := q.Value
		if q.Unit.Name == "F" {
			c = (q.Value - 32) / 1.8
		}
		if u.Name == "F" {
			return float64(c*1.8) + 32, nil
		}
		return c, nil
	}
	return q.Value * q.Unit.Factor / u.Factor, nil
}

// MustIn is In for units known to fit; it panics otherwise.
func (q Quantity) MustIn(unit string) float64 {
	v, err := q.In(unit)
	if err != nil {
		panic("units: " + err.Error())
	}
	return v
}

// Natural returns q in the unit in which it was most likely written: the first
// of its own and the others in which it is a whole number or a half, else the
// first in which it has one decimal; q where there is none. The others measure
// what q does.
func (q Quantity) Natural(others ...string) Quantity {
	for _, parts := range []float64{2, 10} {
		for _, name := range append([]string{q.Unit.Name}, others...) {
			v := q.MustIn(name)
			if n := math.Round(v*parts) / parts; math.Abs(v-n) <= 1e-9*math.Max(1, math.Abs(v)) {
				return Of(n, name)
			}
		}
	}
	return q
}

// Base returns the value in the dimension's base unit.
func (q Quantity) Base() float64 {
	if q.Unit.Dimension == Temperature {
		return q.MustIn("C")
	}
	return q.Value * q.Unit.Factor
}

// IsZero reports whether q is the zero Quantity, no unit at all.
func (q Quantity) IsZero() bool { return q.Unit.Name == "" }

// String writes the number in its shortest exact form and the unit.
func (q Quantity) String() string {
	if q.IsZero() {
		return ""
	}
	return strconv.FormatFloat(q.Value, 'f', -1, 64) + " " + q.Unit.Name
}

// MarshalText writes String.
func (q Quantity) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (q *Quantity) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*q = Quantity{}
		return nil
	}
	v, err := Parse(string(b))
	if err == nil {
		*q = v
	}
	return err
}

// Difference converts a temperature difference (degree-days, a range):
// 1 °C = 1.8 °F, with no 32. from and to are "C" or "F".
func Difference(value float64, from, to string) (float64, error) {
	f, err := Lookup(from)
	if err != nil {
		return 0, err
	}
	t, err := Lookup(to)
	if err != nil {
		return 0, err
	}
	if f.Dimension != Temperature || t.Dimension != Temperature {
		return 0, fmt.Errorf("%w: %s and %s are not temperatures", ErrDimension, from, to)
	}
	if f == t {
		return value, nil
	}
	if f.Name == "C" {
		return value * 1.8, nil
	}
	return value / 1.8, nil
}

// FloorTo rounds v down to the given number of decimals, so a maximum that is
// shown is never above the maximum that is allowed.
func FloorTo(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	f := math.Floor(v*p) / p
	// v may be a hair below a value that it stands for exactly (0.3*10 = 2.9999…).
	if n := math.Round(v * p); math.Abs(v*p-n) < 1e-9*math.Max(1, math.Abs(n)) {
		f = n / p
	}
	return f
}
