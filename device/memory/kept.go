package memory

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"slices"
)

// kept is a Memory in the form in which it is put away.
type kept struct {
	Newest          uint64
	Traces          []byte // the oldest first, traceSize bytes each
	Epoch           int64
	Present, Before int // how many of the traces came before the epoch, and before the one before it
	Counted         bool
	First, Highest  int64
	Gaps            [][2]int64
}

// traceSize is how long a trace is: two numbers of 8 bytes, big endian.
const traceSize = 16

// MarshalJSON implements json.Marshaler.
func (m *Memory) MarshalJSON() ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	held := m.traces.held()
	gone := m.traces.added - held
	k := kept{Newest: m.newest, Traces: make([]byte, 0, held*traceSize), Epoch: m.epoch, Present: max(0, m.present-gone),
		Before: max(0, m.before-gone), Counted: m.counted, First: m.first, Highest: m.highest}
	for n := held - 1; n >= 0; n-- {
		t := m.traces.back(n)
		k.Traces = binary.BigEndian.AppendUint64(k.Traces, t.line)
		k.Traces = binary.BigEndian.AppendUint64(k.Traces, t.pull)
	}
	for _, g := range m.gaps {
		k.Gaps = append(k.Gaps, [2]int64{g.from, g.to})
	}
	return json.Marshal(k)
}

// UnmarshalJSON implements json.Unmarshaler. m must be as New gives it.
func (m *Memory) UnmarshalJSON(data []byte) error {
	var k kept
	if err := json.Unmarshal(data, &k); err != nil {
		return err
	}
	if n := len(k.Traces) / traceSize; len(k.Traces)%traceSize != 0 || n > Depth || k.Before < 0 || k.Present < k.Before || n < k.Present {
		return errors.New("the traces are not whole")
	}
	m.newest, m.epoch, m.present, m.before = k.Newest, k.Epoch, k.Present, k.Before
	m.counted, m.first, m.highest = k.Counted, k.First, k.Highest
	for t := range slices.Chunk(k.Traces, traceSize) {
		m.traces.add(trace{binary.BigEndian.Uint64(t), binary.BigEndian.Uint64(t[8:])})
	}
	for _, g := range k.Gaps {
		m.gaps = append(m.gaps, gap{g[0], g[1]})
	}
	return nil
}
