package memory

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"
)

// What is put away goes on as what was not: with counters that begin anew and skip, and beyond what is remembered.
func TestMemory_PutAway(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 2))
	m, count, gapped := New(), int64(0), false
	for i := range Depth + 300 {
		switch rnd.IntN(40) {
		case 0:
			count = 0
		case 1:
			count += 5
		}
		count++
		r := sends(count, fmt.Sprint(rnd.IntN(90)), "")
		if m.Look(&r) {
			continue
		}
		m.Keep(r)
		if i%997 != 0 {
			continue
		}
		gapped = gapped || len(m.gaps) > 0
		text, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		again := New()
		if err := json.Unmarshal(text, again); err != nil {
			t.Fatal(err)
		}
		if m.traces.oldest == 0 && !reflect.DeepEqual(m, again) || !reflect.DeepEqual(m, m.Clone()) {
			t.Fatalf("after %d readings: got another memory", i)
		}
		if same, err := json.Marshal(again); err != nil || !bytes.Equal(same, text) {
			t.Fatalf("after %d readings: got another memory", i)
		}
	}
	if m.traces.oldest == 0 || m.epoch == 0 || !gapped {
		t.Errorf("got oldest %d, epoch %d, gaps %t: the test has tried too little", m.traces.oldest, m.epoch, gapped)
	}
}

func TestMemory_PutAwayDamaged(t *testing.T) {
	for _, text := range []string{`{`, `{"Traces":"AAAA"}`} {
		if err := json.Unmarshal([]byte(text), New()); err == nil {
			t.Errorf("%s: got no error", text)
		}
	}
}

func TestMemory_CloneIsAnother(t *testing.T) {
	m := New()
	m.Keep(sends(1, "10.0", ""))
	c := m.Clone()
	c.Keep(sends(7, "11.0", ""))
	if r := sends(3, "12.0", ""); m.Look(&r) || r.Skipped != 1 || len(m.gaps) != 0 {
		t.Errorf("got %d skipped and %d gaps: the clone has changed what it was made from", r.Skipped, len(m.gaps))
	}
}
