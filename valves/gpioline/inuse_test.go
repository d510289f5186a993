package gpioline

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestInUse(t *testing.T) {
	k := newKernel(fakeChip{path: "/dev/gpiochip0", name: "gpiochip0", label: "pinctrl", lines: 28})
	k.fakes[0].holders[17] = "somebody"
	s, err := inUse(k, "pinctrl", 17)
	require.NoError(t, err)
	assert.True(t, s.Used)
	assert.Equal(t, "somebody", s.Holder)
	s, err = inUse(k, "pinctrl", 18)
	require.NoError(t, err)
	assert.False(t, s.Used)
	assert.Empty(t, k.trace, "looking drives nothing")
	_, err = inUse(k, "pinctrl", 28)
	assert.ErrorContains(t, err, "no line 28")
	_, err = inUse(k, "other", 1)
	assert.Error(t, err)
}
