package link

import (
	"bytes"

	"witnessmark/device"
)

// remembered is how many readings of a wrench are known again: as many as it can have sent while one queue was full.
const remembered = Queue

// recent is the readings of a wrench that are durable, oldest first, to know one that is sent again.
//
// The same counter and the same bytes as the last one are the same reading: its acknowledgement was lost. Further back
// that is only so while the counter has been rising and the bytes hold the wrench's clock. Without these, a counter
// that began anew with a fresh battery could make a second pull look like one from before, and it would be lost.
type recent struct{ list []device.Reading }

func (m *recent) holds(r device.Reading) bool {
	if r.Counter == nil {
		return false // two equal lines may be two pulls
	}
	known := m.list
	if r.Clock == "" {
		known = known[max(0, len(known)-1):]
	}
	for _, old := range known {
		if *old.Counter == *r.Counter && bytes.Equal(old.Raw, r.Raw) {
			return true
		}
	}
	return false
}

func (m *recent) add(r device.Reading) {
	if n := len(m.list); r.Counter == nil || n > 0 && *r.Counter <= *m.list[n-1].Counter {
		m.list = nil
	}
	if len(m.list) == remembered {
		m.list = append(m.list[:0], m.list[1:]...)
	}
	if r.Counter != nil {
		m.list = append(m.list, r)
	}
}
