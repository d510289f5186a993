package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"
)

// patience bounds every question to the emulator.
const patience = 10 * time.Second

// dialUnix waits for the emulator to listen.
func dialUnix(path string) (net.Conn, error) {
	var c net.Conn
	var err error
	for range 100 {
		if c, err = net.Dial("unix", path); err == nil {
			return c, nil
		}
		time.Sleep(50 * time.Millisecond)
	}
	return nil, err
}

// wire speaks the emulator's test protocol: one line asks, one line answers.
type wire struct {
	conn net.Conn
	in   *bufio.Scanner
}

func dial(path string) (*wire, error) {
	c, err := dialUnix(path)
	if err != nil {
		return nil, err
	}
	return &wire{conn: c, in: bufio.NewScanner(c)}, nil
}

func (w *wire) ask(command string) (string, error) {
	if err := w.conn.SetDeadline(time.Now().Add(patience)); err != nil {
		return "", err
	}
	if _, err := fmt.Fprintln(w.conn, command); err != nil {
		return "", err
	}
	for w.in.Scan() {
		if strings.HasPrefix(w.in.Text(), "IRQ ") { // told without being asked
			continue
		}
		if !strings.HasPrefix(w.in.Text(), "OK") {
			return "", fmt.Errorf("%s: %s", command, w.in.Text())
		}
		return w.in.Text(), nil
	}
	return "", fmt.Errorf("%s: no answer: %w", command, w.in.Err())
}

// monitor speaks QMP, the emulator's JSON protocol.
type monitor struct {
	conn    net.Conn
	answers chan message
	done    chan struct{}

	mu  sync.Mutex
	end string
}

type message struct {
	Return json.RawMessage `json:"return"`
	Error  *struct {
		Desc string `json:"desc"`
	} `json:"error"`
	Event string `json:"event"`
	Data  struct {
		Reason string `json:"reason"`
	} `json:"data"`
}

func dialMonitor(path string) (*monitor, error) {
	c, err := dialUnix(path)
	if err != nil {
		return nil, err
	}
	m := &monitor{conn: c, answers: make(chan message, 1), done: make(chan struct{})}
	go m.listen()
	return m, m.do("qmp_capabilities", nil, nil)
}

// listen sorts answers from events until the emulator ends.
func (m *monitor) listen() {
	defer close(m.done)
	dec := json.NewDecoder(m.conn)
	for {
		var in message
		if err := dec.Decode(&in); err != nil {
			return
		}
		switch {
		case in.Event == "SHUTDOWN":
			m.mu.Lock()
			m.end = in.Data.Reason
			m.mu.Unlock()
		case in.Return != nil || in.Error != nil:
			m.answers <- in
		}
	}
}

// ended is why the machine ended, to be asked once it has.
func (m *monitor) ended() string {
	select {
	case <-m.done:
	case <-time.After(patience):
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.end
}

func (m *monitor) do(command string, arguments, result any) error {
	ask := map[string]any{"execute": command}
	if arguments != nil {
		ask["arguments"] = arguments
	}
	if err := json.NewEncoder(m.conn).Encode(ask); err != nil {
		return err
	}
	select {
	case in := <-m.answers:
		switch {
		case in.Error != nil:
			return fmt.Errorf("%s: %s", command, in.Error.Desc)
		case result != nil:
			return json.Unmarshal(in.Return, result)
		}
		return nil
	case <-m.done:
		return fmt.Errorf("%s: the emulator is gone", command)
	case <-time.After(patience):
		return fmt.Errorf("%s: no answer", command)
	}
}
