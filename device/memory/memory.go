// Package memory knows a reading of a wrench that came before: a wrench sends again what it was not heard to have
// sent, and a memory of its own as a whole, when plugged in, or in any order. What decides is what a wrench says
// beside the torque, because two pulls may well give the same figures:
//
//	counter  clock   the same line again is
//	yes      yes     sent again, however long ago
//	yes      no      sent again if it came in the present epoch or in the one before;
//	                 but a possible repeat if its count is just the next one to come
//	no       yes     a possible repeat, however long ago
//	no       no      a possible repeat if it follows itself
//
// What is sent again is not kept a second time. A possible repeat is kept and says so: a second hit is never lost to a
// guess. The same line means the same bytes. Where the wrench says its clock, or that the line comes out of its memory,
// it is enough that all fields are the same but the battery and that very word: these belong to the sending.
//
// An epoch is the time between two beginnings of the wrench's counter (fresh battery, a person, 9999 + 1). A count that
// is not above the highest of the present epoch begins another one, unless it had been skipped, or is said to come out
// of the wrench's memory and lies before the first count that we had: such a reading is late, and no more.
//
// Where no clock is sent, one thing cannot be known. After the counter began anew, a line that is byte for byte one
// from before may be a pull or the old one sent again. Here it is a pull exactly where its count is the next to come,
// and then it says that it may be a repeat. So two things can go wrong. A pull is lost, and the wrench told that it was
// kept, if it is the first one after its counter began anew (or the first that reaches us after some that did not)
// and equal in every byte to the pull with its count then. And a line from before the counter began anew is kept
// twice, marked as a possible repeat, if it is sent again just when its count is the next. The window of two epochs
// keeps the first one rare where a counter begins anew every day: else any 1 in years would do for today's. To us a
// counter also begins anew when a wrench that does not mark what comes out of its memory sends counts from before the
// first that we ever had. A wrench that is set to send its clock has neither trouble; a clock that stands still, or
// begins anew with the counter, is none.
package memory

import (
	"sync"

	"witnessmark/device"
)

// Depth is how many readings of a wrench are known again. One that is sent again from before these counts as new.
const Depth = 10_000

// Memory is what is remembered of the durable readings of one wrench, about 220 kB at most. Several goroutines may use it.
type Memory struct {
	mu     sync.Mutex
	newest uint64 // the number of the reading that was kept last
	traces traces

	epoch           int64
	present, before int   // how many traces were added before the epoch, and before the one before it
	counted         bool  // the wrench sent a count in this epoch
	first           int64 // the first count that came in this epoch
	highest         int64 // the highest
	gaps            gaps  // counts between these two that did not come
}

// New remembers nothing.
func New() *Memory { return &Memory{} }

// Look says whether r came before, and otherwise sets r.Epoch, r.Skipped, r.Repeat. It changes nothing in m.
func (m *Memory) Look(r *device.Reading) (resent bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	same := m.knows(*r)
	if r.Counter == nil {
		r.Epoch, r.Skipped, r.Repeat = m.epoch, 0, same
		return false
	}
	count := *r.Counter
	next := count == m.highest+1
	if same && (r.Clock != "" || !next) {
		return true
	}
	r.Epoch, r.Skipped, r.Repeat = m.epoch, 0, same
	switch {
	case !m.counted || m.late(*r):
	case count > m.highest:
		r.Skipped = count - m.highest - 1
	default:
		r.Epoch++
	}
	return false
}

// Newest is the number of the reading that was kept last, 0: none was.
func (m *Memory) Newest() uint64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.newest
}

// Keep remembers a reading that is durable under a number. The numbers of a wrench's readings rise, so one that is not above
// the newest is remembered already: whoever made it durable and whoever reads it back may both tell. Replaying the durable
// readings in order gives the same Memory.
func (m *Memory) Keep(number uint64, r device.Reading) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if number <= m.newest {
		return
	}
	m.newest = number
	m.enter(r.Epoch)
	m.traces.add(traceOf(r))
	if r.Counter == nil {
		return
	}
	switch count := *r.Counter; {
	case m.counted && count > m.highest:
		m.gaps.open(m.highest+1, count-1)
		m.highest = count
	case m.counted && m.late(r):
		m.gaps.fill(count)
	default: // also a count that went back in a journal from before there were epochs
		m.counted, m.first, m.highest, m.gaps = true, count, count, nil
	}
}

// enter begins an epoch, if it is another one. What was found when the reading came stands, even if we would find otherwise
// today.
func (m *Memory) enter(epoch int64) {
	if epoch == m.epoch {
		return
	}
	m.before = m.traces.added
	if epoch == m.epoch+1 {
		m.before = m.present
	}
	m.epoch, m.present, m.counted = epoch, m.traces.added, false
}

// late is a count of the present epoch that was waited for.
func (m *Memory) late(r device.Reading) bool {
	return r.Stored && *r.Counter < m.first || m.gaps.hold(*r.Counter)
}

// knows reports whether the same line came before, as far back as that means something.
func (m *Memory) knows(r device.Reading) bool {
	all := &m.traces
	if all.added == 0 {
		return false
	}
	t := traceOf(r)
	if r.Counter == nil && r.Clock == "" {
		return all.back(0).line == t.line
	}
	newest, among := (all.added-1)%Depth, all.held()
	if r.Clock == "" {
		among = min(among, all.added-m.before)
	}
	return all.lines.hold(t.line, newest, among) || (r.Clock != "" || r.Stored) && all.pulls.hold(t.pull, newest, among)
}
