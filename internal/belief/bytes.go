package belief

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"leafturn/internal/civil"
)

// Bytes writes a belief down, to the last bit.
func (b Belief) Bytes() []byte {
	le := binary.LittleEndian
	out := make([]byte, 0, 5*8+8*len(b.ln))
	for _, n := range []int{packDay(b.Date), packDay(b.Seen), b.Units, b.Visits} {
		out = le.AppendUint64(out, uint64(n))
	}
	out = le.AppendUint64(out, math.Float64bits(b.corner))
	for _, x := range b.ln {
		out = le.AppendUint64(out, math.Float64bits(x))
	}
	return out
}

// FromBytes reads what Bytes wrote. Errors: ErrDomain for anything else.
func FromBytes(data []byte) (Belief, error) {
	le := binary.LittleEndian
	if n := len(data) - 5*8; n != 0 && n != 8*points {
		return Belief{}, fmt.Errorf("%d bytes are no belief: %w", len(data), ErrDomain)
	}
	var at [5]uint64
	for i := range at {
		at[i] = le.Uint64(data[8*i:])
	}
	b := Belief{Date: unpackDay(at[0]), Seen: unpackDay(at[1]), Units: int(at[2]), Visits: int(at[3]), corner: math.Float64frombits(at[4])}
	for data = data[5*8:]; len(data) > 0; data = data[8:] {
		x := math.Float64frombits(le.Uint64(data))
		if math.IsNaN(x) {
			return Belief{}, fmt.Errorf("a log density that is no number: %w", ErrDomain)
		}
		b.ln = append(b.ln, x)
	}
	return b, nil
}

func packDay(d civil.Date) int { return d.Year<<16 | int(d.Month)<<8 | d.Day }

func unpackDay(n uint64) civil.Date {
	return civil.Date{Year: int(n >> 16), Month: time.Month(n >> 8 & 0xff), Day: int(n & 0xff)}
}
