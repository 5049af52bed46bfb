package belief

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"

	"leafturn/internal/civil"
)

// The stored form: "LTB", a version, the two dates as days from 1 January 1
// plus one (0 is no date), units, visits, the number of grid points (0 for
// the weak belief), the place of the corner (see curve), the log densities, and a
// CRC-32 of all before it. Numbers
// are little-endian. 5.2 kB, 32 bytes when weak.
const (
	magic   = "LTB"
	version = 2
	header  = 4 + 4*4 + 8 + 8
)

var dayOne = civil.New(1, 1, 1)

func dayNumber(d civil.Date) (uint32, error) {
	if d.IsZero() {
		return 0, nil
	}
	n := (d.Time().Unix() - dayOne.Time().Unix()) / 86400
	if n < 0 || n > 9999*366 {
		return 0, fmt.Errorf("date of year %d: %w", d.Year, ErrDomain)
	}
	return uint32(n) + 1, nil
}

func dayOf(n uint32) civil.Date {
	if n == 0 {
		return civil.Date{}
	}
	return dayOne.AddDays(int(n - 1))
}

// MarshalBinary returns the belief in its stored form, which UnmarshalBinary
// gives back exactly. Errors: ErrDomain for a date before year 1 or after 9999.
func (b Belief) MarshalBinary() ([]byte, error) {
	at, err := dayNumber(b.Date)
	if err != nil {
		return nil, err
	}
	seen, err := dayNumber(b.Seen)
	if err != nil {
		return nil, err
	}
	out := make([]byte, 0, header+8*len(b.ln)+4)
	out = append(append(out, magic...), version)
	out = binary.LittleEndian.AppendUint32(out, at)
	out = binary.LittleEndian.AppendUint32(out, seen)
	out = binary.LittleEndian.AppendUint64(out, uint64(b.Units))
	out = binary.LittleEndian.AppendUint32(out, uint32(b.Visits))
	out = binary.LittleEndian.AppendUint32(out, uint32(len(b.ln)))
	out = binary.LittleEndian.AppendUint64(out, math.Float64bits(b.corner))
	for _, v := range b.ln {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	return binary.LittleEndian.AppendUint32(out, crc32.ChecksumIEEE(out)), nil
}

// UnmarshalBinary reads the stored form. Anything else, another version or
// damage included, is ErrFormat and leaves b as it was.
func (b *Belief) UnmarshalBinary(in []byte) error {
	r, _, err := Unmarshal(in)
	if err == nil {
		*b = r
	}
	return err
}

// Unmarshal is UnmarshalBinary, with the reader of the belief, which is made on
// the way.
func Unmarshal(in []byte) (b Belief, read *Reader, err error) {
	if len(in) < header+4 || string(in[:3]) != magic {
		return b, nil, fmt.Errorf("%d bytes: %w", len(in), ErrFormat)
	}
	if in[3] != version {
		return b, nil, fmt.Errorf("version %d, this program reads %d: %w", in[3], version, ErrFormat)
	}
	body := in[:len(in)-4]
	if crc32.ChecksumIEEE(body) != binary.LittleEndian.Uint32(in[len(in)-4:]) {
		return b, nil, fmt.Errorf("the check sum does not fit, it is damaged: %w", ErrFormat)
	}
	le := binary.LittleEndian
	at, seen, units, visits, n := le.Uint32(in[4:]), le.Uint32(in[8:]), le.Uint64(in[12:]), le.Uint32(in[20:]), le.Uint32(in[24:])
	corner := math.Float64frombits(le.Uint64(in[28:]))
	if (n != 0 && n != points) || !(corner >= 0 && corner < points-1) || len(body) != header+8*int(n) || at > 9999*366 || seen > 9999*366 || units > math.MaxInt64/2 || visits > math.MaxInt32 {
		return b, nil, fmt.Errorf("%d grid points in %d bytes: %w", n, len(in), ErrFormat)
	}
	b = Belief{Date: dayOf(at), Seen: dayOf(seen), Units: int(units), Visits: int(visits), corner: corner}
	if n > 0 {
		b.ln = make([]float64, points)
		for i := range b.ln {
			v := math.Float64frombits(le.Uint64(in[header+8*i:]))
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Belief{}, nil, fmt.Errorf("grid point %d is %v: %w", i, v, ErrFormat)
			}
			b.ln[i] = v
		}
	}
	read = b.Read()
	if n > 0 && !(math.Abs(read.lnMass) < 1e-6) {
		return Belief{}, nil, fmt.Errorf("its mass is not 1: %w", ErrFormat)
	}
	return b, read, nil
}
