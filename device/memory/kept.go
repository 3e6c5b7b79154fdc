package memory

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"slices"
)

// kept is a Memory in the form in which it is put away.
type kept struct {
	Traces         []byte // the oldest first, traceSize bytes each
	Epoch          int64
	Counted        bool
	First, Highest int64
	Gaps           [][2]int64
}

// traceSize is how long a trace is: three numbers of 8 bytes, big endian.
const traceSize = 24

// MarshalJSON implements json.Marshaler.
func (m *Memory) MarshalJSON() ([]byte, error) {
	k := kept{Traces: make([]byte, 0, len(m.traces.lines)*traceSize), Epoch: m.epoch, Counted: m.counted, First: m.first, Highest: m.highest}
	for t := range m.traces.inOrder() {
		for _, n := range [...]uint64{t.line, t.pull, uint64(t.epoch)} {
			k.Traces = binary.BigEndian.AppendUint64(k.Traces, n)
		}
	}
	for _, g := range m.gaps {
		k.Gaps = append(k.Gaps, [2]int64{g.from, g.to})
	}
	return json.Marshal(k)
}

// UnmarshalJSON implements json.Unmarshaler.
func (m *Memory) UnmarshalJSON(data []byte) error {
	var k kept
	if err := json.Unmarshal(data, &k); err != nil {
		return err
	}
	if len(k.Traces)%traceSize != 0 || len(k.Traces) > Depth*traceSize {
		return errors.New("the traces are not whole")
	}
	*m = Memory{epoch: k.Epoch, counted: k.Counted, first: k.First, highest: k.Highest}
	for t := range slices.Chunk(k.Traces, traceSize) {
		m.traces.add(trace{binary.BigEndian.Uint64(t), binary.BigEndian.Uint64(t[8:]), int64(binary.BigEndian.Uint64(t[16:]))})
	}
	for _, g := range k.Gaps {
		m.gaps = append(m.gaps, gap{g[0], g[1]})
	}
	return nil
}

// Clone is another Memory that remembers the same.
func (m *Memory) Clone() *Memory {
	out := *m
	out.traces, out.gaps = m.traces.clone(), slices.Clone(m.gaps)
	return &out
}
