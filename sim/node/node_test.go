package node

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

type state struct {
	State, Ack, Order string
	Left              int `json:"left_s"`
	Seq               int
}

func TestNodeKeepsTheContract(t *testing.T) {
	open, said, last := true, 0, state{}
	unix := int64(1000)
	n := &Node{Coil: func(o bool) { open = o }, Publish: func(b []byte) { said++; _ = json.Unmarshal(b, &last) }, Unix: func() int64 { return unix }}
	n.Coil(false)
	do := func(now time.Duration, text string) { n.Command(now, []byte(text)) }

	do(0, `{"id":"a","do":"open","order":"1","seconds":30,"not_after":1010}`)
	assert.True(t, open)
	assert.Equal(t, state{State: "open", Ack: "a", Order: "1", Left: 30, Seq: 1}, last)
	n.Tick(10 * time.Second)
	assert.Equal(t, 20, last.Left, "every ten seconds while open")
	n.Tick(29 * time.Second)
	assert.True(t, open)
	n.Tick(30 * time.Second)
	assert.False(t, open, "closed by itself")
	assert.Equal(t, "closed", last.State)
	assert.Equal(t, "a", last.Ack)
	before := said
	n.Tick(89 * time.Second)
	assert.Equal(t, before, said)
	n.Tick(90 * time.Second)
	assert.Equal(t, before+1, said, "every minute while closed")

	for name, text := range map[string]string{
		"the order again":   `{"id":"b","do":"open","order":"1","seconds":30}`,
		"without a time":    `{"id":"b","do":"open","order":"2"}`,
		"for no time":       `{"id":"b","do":"open","order":"2","seconds":0}`,
		"for ever":          `{"id":"b","do":"open","order":"2","seconds":100000}`,
		"without an order":  `{"id":"b","do":"open","seconds":30}`,
		"without an id":     `{"do":"open","order":"2","seconds":30}`,
		"late":              `{"id":"b","do":"open","order":"2","seconds":30,"not_after":999}`,
		"something else":    `{"id":"b","do":"toggle","order":"2","seconds":30}`,
		"not JSON":          `open`,
		"seconds in quotes": `{"id":"b","do":"open","order":"2","seconds":"30"}`,
	} {
		do(100*time.Second, text)
		assert.False(t, open, name)
		assert.Equal(t, "a", last.Ack, name)
	}

	do(200*time.Second, `{"id":"c","do":"open","order":"2","seconds":30}`)
	assert.True(t, open)
	do(201*time.Second, `{"id":"d","do":"close"}`)
	assert.False(t, open)
	assert.Equal(t, "d", last.Ack)

	do(300*time.Second, `{"id":"e","do":"open","order":"3","seconds":30}`)
	assert.True(t, open)
	n.LinkLost()
	assert.False(t, open, "nobody could tell it to close")
	n.LinkUp(301 * time.Second)
	assert.Equal(t, "closed", last.State)
}
