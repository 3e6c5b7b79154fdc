package bench

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/device"
)

// kept is a reading of a closed run in the form in which it is put away. Which check it measured is in its mark.
type kept struct {
	Seq      uint64
	At       time.Time
	Reading  device.Reading
	Wrench   []string
	Declared audit.WrenchDeclared
	Fit      *adapter.Adapter
	Mark     audit.Mark
	Fixed    bool
}

// pack puts the readings of a run away small: builds stay released for years, and only one that is reopened or reviewed
// needs them. The raw bytes are left to the journal.
func (r *run) pack() {
	var room bytes.Buffer
	w, err := flate.NewWriter(&room, flate.DefaultCompression)
	must(err)
	out := json.NewEncoder(w)
	for i := range r.readings {
		t := &r.readings[i]
		k := kept{t.seq, t.at, t.reading, t.wrench, t.declared, t.fit, t.mark, t.fixed}
		k.Reading.Raw = nil
		must(out.Encode(k))
	}
	must(w.Close())
	r.packed, r.readings, r.matcher = room.Bytes(), nil, nil
}

// unpacked is the run with its readings at hand; of one that is put away it is a copy.
func (r *run) unpacked() *run {
	if r.packed == nil {
		return r
	}
	out := *r
	out.packed = nil
	in := json.NewDecoder(flate.NewReader(bytes.NewReader(r.packed)))
	for in.More() {
		var k kept
		must(in.Decode(&k))
		t := taken{seq: k.Seq, at: k.At, reading: k.Reading, wrench: k.Wrench, declared: k.Declared, fit: k.Fit, mark: k.Mark, fixed: k.Fixed}
		if m := &k.Mark; m.CheckID != "" {
			t.check = &gauged{r.check(m.CheckID), m.Fastener, m.Verdict, m.Confidence, m.LocatedBy}
		}
		out.readings = append(out.readings, t)
	}
	return &out
}

// must is for what cannot fail: the bytes were made here, in memory, of values that came out of the journal as JSON.
func must(err error) {
	if err != nil {
		panic(err)
	}
}
