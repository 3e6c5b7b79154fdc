// Package past makes up years of a shop that has never been: entries with the marks that they led to, drawn from a seed,
// to measure look-ups on as many readings as a real shop has after years.
package past

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"strconv"
	"time"

	"witnessmark/audit"
	"witnessmark/device/label"
	"witnessmark/device/unit"
)

const (
	pace      = 9 * time.Second // mean time between two entries of the whole shop: 20 million readings are some six years
	yearly    = 365 * 24 * time.Hour
	lotCheck  = "bolt-lot"
	rebuilt   = 10  // one build in so many is of an engine that was here before
	failing   = 250 // one reading in so many is let go too early, and pulled again
	repeated  = 600 // … is pulled once more
	named     = 2000
	perLot    = 40 // builds that are fitted from one lot of bolts
	peopleIn  = 14
	benchesIn = 4
)

// begin is when the made-up shop opens.
var begin = time.Date(2020, 1, 6, 7, 0, 0, 0, time.UTC)

// shop draws the entries.
type shop struct {
	draw     *rand.Rand
	families []*family
	seq      uint64
	at       time.Time
	readings int
	builds   int
	engines  [][]engine // by family
	people   []string
	benches  []*bench
	due      time.Time // of the next calibration of all wrenches
}

type engine struct{ serial, unit string }

// Entries draws the history of a shop of so many readings. The same seed gives the same history.
func Entries(readings int, seed uint64) (iter.Seq[audit.Outcome], error) {
	f, err := families()
	if err != nil {
		return nil, err
	}
	return func(yield func(audit.Outcome) bool) {
		s := &shop{draw: rand.New(rand.NewPCG(seed, 1)), families: f, at: begin, engines: make([][]engine, len(f))}
		for i := range benchesIn {
			s.benches = append(s.benches, &bench{name: strconv.Itoa(i + 1)})
		}
		for _, e := range s.opening() {
			if !yield(s.outcome(e)) {
				return
			}
		}
		for s.readings < readings {
			if !s.step(yield) {
				return
			}
		}
	}, nil
}

// opening is what the shop needs before its first build.
func (s *shop) opening() []audit.Event {
	var out []audit.Event
	for _, f := range s.families {
		out = append(out, audit.ProcedureAdded{Family: f.name, Revision: revision, Title: "Long block", Text: f.text})
	}
	for i := range peopleIn {
		id := fmt.Sprintf("%016x", s.draw.Uint64())
		s.people = append(s.people, id)
		out = append(out, audit.PersonAdded{Person: id, Name: fmt.Sprintf("Fitter %c", 'A'+i)})
	}
	return out
}

// step lets time pass and one bench do its next thing.
func (s *shop) step(yield func(audit.Outcome) bool) bool {
	if !s.at.Before(s.due) {
		return s.calibrate(yield)
	}
	b := s.benches[s.draw.IntN(len(s.benches))]
	return yield(b.next(s))
}

// calibrate declares all wrenches anew, as comes about once a year.
func (s *shop) calibrate(yield func(audit.Outcome) bool) bool {
	day := s.at.Truncate(24 * time.Hour)
	due := day.Add(yearly)
	s.due = s.at.Add(yearly - 24*time.Hour)
	for i, b := range s.benches {
		w := audit.WrenchDeclared{Wrench: fmt.Sprintf("TW-%02d", i+1), Title: "digital, 20 to 500 N·m", Certificate: fmt.Sprintf("K-%d-%02d", day.Year(), i+1),
			Calibrated: &day, Due: &due, RangeLow: 20e6, RangeHigh: 500e6, Uncertainty: 10_000, Deviation: int64(s.draw.IntN(8000)) - 4000}
		o := s.outcome(w)
		b.wrench, b.calibration = w, o.Entry.Seq
		if !yield(o) {
			return false
		}
	}
	return true
}

// outcome is the next entry.
func (s *shop) outcome(e audit.Event) audit.Outcome {
	s.seq++
	s.at = s.at.Add(time.Duration(s.draw.Int64N(int64(2*pace)/1000)) * time.Microsecond)
	return audit.Outcome{Entry: audit.Entry{Seq: s.seq, At: s.at, Event: e}}
}

// anEngine is one that was here before, or another one. Some belong to road vehicles, whose unit is a VIN.
func (s *shop) anEngine(kind int) engine {
	known := s.engines[kind]
	if len(known) > 0 && s.draw.IntN(rebuilt) == 0 {
		return known[s.draw.IntN(len(known))]
	}
	n := len(known)
	e := engine{serial: fmt.Sprintf("%s%06d", s.families[kind].letter, 100_000+7*n+kind), unit: fmt.Sprintf("LOCO-%05d", s.draw.IntN(100_000))}
	if n%3 == 0 {
		e.unit = vin(n*len(s.families) + kind)
	}
	s.engines[kind] = append(known, e)
	return e
}

// vin is the n-th number of an invented maker, its check digit after 49 CFR 565.15(c).
func vin(n int) string {
	for _, digit := range "0123456789X" {
		v := fmt.Sprintf("1WM5DL00%cLS%06d", digit, n)
		if _, err := label.VerifyVIN(v); err == nil {
			return v
		}
	}
	panic("one of eleven digits fits")
}

// tenths rounds a number of N·m to the tenths that the wrench shows.
func tenths(newtonMetres float64) unit.Torque { return unit.Torque(newtonMetres*10+0.5) * 100_000 }
