package w1

import (
	"fmt"
	"testing"
	"testing/fstest"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type hand struct{ now time.Duration }

func (h *hand) Now() time.Duration { return h.now }

func answer(c float64) *fstest.MapFile {
	return &fstest.MapFile{Data: []byte(fmt.Sprintf("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=%d\n", int(1000*c)))}
}

// TestSet: a zone's thermometer serves its probes, one that fails keeps its value
// for a while and leaves the others alone.
func TestSet(t *testing.T) {
	zone := func(id, th string, probes int) garden.Zone {
		z := garden.Zone{ID: garden.ZoneID(id), Thermometer: th}
		for range probes {
			z.Probes = append(z.Probes, garden.Probe{Zone: z.ID})
		}
		return z
	}
	const other = "28-0316a2794c00"
	g := &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{zone("a", name, 2), zone("b", "", 1), zone("c", other, 1)}}}}
	tree := fstest.MapFS{name + "/w1_slave": answer(21.5), other + "/w1_slave": answer(24)}
	h := &hand{}
	s, err := NewSet(g, tree, h)
	require.NoError(t, err)
	assert.False(t, s.TempC(0).Known, "nothing measured yet")
	require.NoError(t, s.Measure())
	assert.Equal(t, []garden.Measured{garden.Known(21.5), garden.Known(21.5), {}, garden.Known(24)}, []garden.Measured{s.TempC(0), s.TempC(1), s.TempC(2), s.TempC(3)})
	assert.False(t, s.TempC(-1).Known || s.TempC(4).Known)

	tree[name+"/w1_slave"] = answer(85)
	tree[other+"/w1_slave"] = answer(25)
	h.now = 10 * time.Minute
	require.ErrorIs(t, s.Measure(), ErrPowerOn)
	assert.Equal(t, garden.Known(21.5), s.TempC(0), "ten minutes at most")
	assert.Equal(t, garden.Known(25), s.TempC(3))
	h.now += time.Nanosecond
	assert.False(t, s.TempC(0).Known, "never 85 °C, and never an old value for long")
	tree[name+"/w1_slave"] = answer(22)
	require.NoError(t, s.Measure())
	assert.Equal(t, garden.Known(22), s.TempC(0))

	none, err := NewSet(&garden.Garden{}, tree, h)
	require.NoError(t, err)
	assert.Nil(t, none)
	assert.False(t, none.TempC(0).Known)
	g.Pots[0].Zones[0].Thermometer = "warm"
	_, err = NewSet(g, tree, h)
	require.ErrorContains(t, err, "zone a")
}
