package memory

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"witnessmark/device"
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
		keep(m, r)
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
		if m.traces.added <= Depth && !reflect.DeepEqual(m, again) {
			t.Fatalf("after %d readings: got another memory", i)
		}
		if same, err := json.Marshal(again); err != nil || !bytes.Equal(same, text) {
			t.Fatalf("after %d readings: got another memory", i)
		}
	}
	if m.traces.added <= Depth || m.epoch == 0 || !gapped {
		t.Errorf("got %d readings, epoch %d, gaps %t: the test has tried too little", m.traces.added, m.epoch, gapped)
	}
}

func TestMemory_PutAwayDamaged(t *testing.T) {
	for _, text := range []string{`{`, `{"Traces":"AAAA"}`, `{"Present":1}`, `{"Present":-1,"Before":-1}`, `{"Before":1}`} {
		if err := json.Unmarshal([]byte(text), New()); err == nil {
			t.Errorf("%s: got no error", text)
		}
	}
}

// Who makes a reading durable and who reads it back both tell, and one may be far behind the other.
func TestMemory_ToldTwice(t *testing.T) {
	m, once := New(), New()
	for n, r := range []device.Reading{sends(1, "10.0", ""), sends(4, "10.0", ""), sends(1, "11.0", "")} {
		resent := m.Look(&r)
		if resent {
			t.Fatalf("%q: got sent again, want a new one", r.Raw)
		}
		number := uint64(10 * (n + 1))
		m.Keep(number, r)
		once.Keep(number, r)
		for late := range number + 1 {
			m.Keep(late, r)
		}
	}
	if m.Newest() != 30 || !reflect.DeepEqual(m, once) {
		t.Errorf("got %+v, want what was told once: %+v", m, once)
	}
}
