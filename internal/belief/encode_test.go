package belief_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
)

func TestEncode(t *testing.T) {
	b := must(belief.Update(belief.Weak(), belief.Evidence{Date: day, Counts: []int{0, 3, 1}}, mites))
	b = carried(t, b, 7, belief.UnknownGrowth())
	for _, b := range []belief.Belief{belief.Weak(), b, carried(t, b, 300, belief.UnknownGrowth())} {
		raw, err := b.MarshalBinary()
		require.NoError(t, err)
		var got belief.Belief
		require.NoError(t, got.UnmarshalBinary(raw))
		require.Equal(t, b, got)
		again, err := got.MarshalBinary()
		require.NoError(t, err)
		require.True(t, bytes.Equal(raw, again))
		require.LessOrEqual(t, len(raw), 5200)

		newer := bytes.Clone(raw)
		newer[3]++
		require.ErrorContains(t, got.UnmarshalBinary(newer), "version 3, this program reads 2")
		require.Equal(t, b, got, "a refusal leaves it as it was")
		for i := range raw { // one bit wrong anywhere
			bad := bytes.Clone(raw)
			bad[i] ^= 4
			require.ErrorIs(t, got.UnmarshalBinary(bad), belief.ErrFormat, i)
		}
		for at, v := range map[int]byte{7: 0xff, 11: 0xff, 19: 0xff, 23: 0xff, 24: 1, 27: 1} { // dates, units, visits and points that cannot be
			bad := bytes.Clone(raw[:len(raw)-4])
			bad[at] ^= v
			bad = binary.LittleEndian.AppendUint32(bad, crc32.ChecksumIEEE(bad))
			require.ErrorIs(t, got.UnmarshalBinary(bad), belief.ErrFormat, at)
		}
		for _, n := range []int{0, 3, 31, len(raw) - 1} {
			if n < len(raw) {
				require.ErrorIs(t, got.UnmarshalBinary(raw[:n]), belief.ErrFormat, n)
			}
		}
	}
	_, err := belief.Belief{Date: civil.New(-5, 1, 1)}.MarshalBinary()
	require.ErrorIs(t, err, belief.ErrDomain)
}
