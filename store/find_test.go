package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// known commits builds of engines under their serial, work order and unit.
func (s *shop) known(builds ...[3]string) *store.Reader {
	s.t.Helper()
	st := s.open()
	var outs []audit.Outcome
	for i, b := range builds {
		outs = append(outs, audit.Outcome{Entry: audit.Entry{Seq: uint64(i + 1), At: time.Date(2026, 1, 1, 0, 0, i, 0, time.UTC),
			Event: audit.BuildOpened{Engine: b[0], WorkOrder: b[1], Unit: b[2], Family: "F", Revision: "1"}}})
	}
	if err := st.Commit(s.t.Context(), outs); err != nil {
		s.t.Fatal(err)
	}
	return s.reader()
}

func (s *shop) reader() *store.Reader {
	s.t.Helper()
	r, err := store.OpenReader(s.t.Context(), s.opt.URL, "s1")
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { r.Close() })
	return r
}

func TestReader_Find(t *testing.T) {
	r := newShop(t).known(
		[3]string{"TB42-10577", "WO-1", "LOCO-7"}, [3]string{"TB42-10577", "WO-2", "LOCO-7"}, [3]string{"TB42-10578", "WO-3", "1M8GDM9AXKP042788"},
		[3]string{"DROP'10%_9", "WO-4", ""}, [3]string{"Ö-7741", "WO-5", "LOCO-8"})
	for _, c := range []struct {
		asked string
		how   store.Likeness
		by    string
		want  string // work orders
	}{
		{"TB42-10577", store.AsWritten, "engine", "WO-1 WO-2"},
		{"WO-2", store.AsWritten, "work order", "WO-2"},
		{" LOCO-8 ", store.AsWritten, "unit", "WO-5"},
		{"1M8GDM9AXKP042788", store.AsWritten, "unit", "WO-3"}, // the VIN that 49 CFR 565.15 works out (from memory)
		{"tb42 1o577", store.WrittenOtherwise, "engine", "WO-1 WO-2"},
		{"tB42.I0578", store.WrittenOtherwise, "engine", "WO-3"},
		{"wo3", store.WrittenOtherwise, "work order", "WO-3"},
		{"TB4", store.BeginsSo, "engine", "WO-1 WO-2 WO-3"},
		{"TB42-10567", store.OneSlip, "engine", "WO-1 WO-2"},
		{"TB42-1577", store.OneSlip, "engine", "WO-1 WO-2"},
		{"TB42-01577", store.OneSlip, "engine", "WO-1 WO-2"},
		{"TB42-105778", store.OneSlip, "engine", "WO-1 WO-2 WO-3"},
		{"042788", store.HoldsIt, "unit", "WO-3"},
		{"7741", store.HoldsIt, "engine", "WO-5"},
		{"TB24-10587", store.TwoSlips, "engine", "WO-1 WO-2 WO-3"},
		{"DROP'10%_9", store.AsWritten, "engine", "WO-4"},
		{"P'10%", store.HoldsIt, "engine", "WO-4"},
		{"____", "", "", ""},
		{"%%%%", "", "", ""},
		{"'; DROP TABLE witnessmark.build; --", "", "", ""},
		{`\' OR 1=1 --`, "", "", ""},
		{"T", "", "", ""},
		{"---", "", "", ""},
		{"😀😀😀😀", "", "", ""},
		{strings.Repeat("9", 80), "", "", ""},
	} {
		found, err := r.Find(t.Context(), c.asked)
		if err != nil {
			t.Errorf("%q: %v", c.asked, err)
			continue
		}
		var orders []string
		for _, f := range found {
			orders = append(orders, f.WorkOrder)
			if f.Likeness != c.how || f.Field != c.by {
				t.Errorf("%q: got %s by its %s, want %s by its %s", c.asked, f.Likeness, f.Field, c.how, c.by)
			}
		}
		if got := strings.Join(orders, " "); got != c.want {
			t.Errorf("%q: got %q, want %q", c.asked, got, c.want)
		}
	}
	for rule, text := range map[string]string{"nothing": " ", "a zero byte": "TB42\x00", "a broken character": "TB\xff", "a line break": "TB42\n10577",
		"too long": strings.Repeat("9", 81), "huge": strings.Repeat("A", 1<<20)} {
		if found, err := r.Find(t.Context(), text); err == nil || len(err.Error()) > 200 {
			t.Errorf("%s: got %v, %v, want a short sentence", rule, found, err)
		}
	}
}

// The index compares by what the schema's function makes of a serial, the look-up by what Go makes of what was typed.
func TestReader_FindComparesAsTheSchema(t *testing.T) {
	s := newShop(t)
	r := s.known([3]string{"x", "x", "x"})
	for _, text := range []string{"aBcDefghijklmnopqrstuvwxyz", "0 - _ . / : 9", "ÄÖÜäöüßé", "oOqQiI", "ſK", "😀", "a'b\"c%d"} {
		if err := s.sql(true, fmt.Sprintf("UPDATE witnessmark.build SET engine = '%s'", strings.ReplaceAll(text, "'", "''"))); err != nil {
			t.Fatal(err)
		}
		typed := text + "-"
		if found, err := r.Find(t.Context(), typed); err != nil || len(found) != 1 || found[0].Likeness != store.WrittenOtherwise {
			t.Errorf("%q: got %+v, %v, want it found as written otherwise", typed, found, err)
		}
	}
}

// pulls commits readings of one step, each with the marks given for it, and what else happened after them.
func (s *shop) pulls(marks [][]audit.Mark, more ...audit.Event) {
	s.t.Helper()
	st := s.open()
	var outs []audit.Outcome
	for i, list := range marks {
		seq := uint64(i + 1)
		a := unit.Angle(seq) * unit.Degree
		o := audit.Outcome{Entry: audit.Entry{Seq: seq, At: time.Date(2026, 1, 1, 0, 0, i, 0, time.UTC), Event: audit.ReadingTaken{Bench: "1",
			Reading: device.Reading{Wrench: "W", Torque: unit.Torque(seq) * unit.NewtonMetre, Unit: unit.Nm, Angle: &a, Direction: device.Tighten}}}}
		for k, m := range list {
			m.Reading, m.No, m.Family, m.Joint = seq, k+1, "F", "caps"
			o.Marks = append(o.Marks, m)
		}
		outs = append(outs, o)
	}
	for _, ev := range more {
		seq := uint64(len(outs) + 1)
		outs = append(outs, audit.Outcome{Entry: audit.Entry{Seq: seq, At: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC), Event: ev}})
	}
	if err := st.Commit(s.t.Context(), outs); err != nil {
		s.t.Fatal(err)
	}
}

func TestReader_Pulled(t *testing.T) {
	here, there := audit.Mark{Stage: "snug", Fastener: "1"}, audit.Mark{Stage: "snug", Fastener: "2"}
	again := audit.Mark{Stage: "snug", Fastener: "1", Flags: []string{audit.ReHit}}
	s := newShop(t)
	s.pulls([][]audit.Mark{{here}, {there}, {here, there}, {there, here}, {again}, {here}})
	step := store.Step{Family: "F", Joint: "caps", Stage: "snug", Fastener: "1"}
	for rule, c := range map[string]struct {
		until time.Time
		want  string
	}{
		"marks in force that are no second hits": {time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), "[1 N·m 4 N·m 6 N·m]"},
		"known then":                             {time.Date(2026, 1, 1, 0, 0, 3, 0, time.UTC), "[1 N·m 4 N·m]"},
		"before the first":                       {time.Date(2025, 1, 1, 0, 0, 3, 0, time.UTC), "[]"},
	} {
		p, err := s.reader().Pulled(t.Context(), step, c.until)
		if err != nil || fmt.Sprint(p.Torques) != c.want || len(p.Angles) != len(p.Torques) || p.Sampled {
			t.Errorf("%s: got %+v, %v, want %s", rule, p, err, c.want)
		}
	}
	if p, err := s.reader().Pulled(t.Context(), store.Step{Family: "F", Joint: "caps", Stage: "'; --", Fastener: "1"}, time.Now()); err != nil || p.All != 0 {
		t.Errorf("a stage that is SQL: got %+v, %v", p, err)
	}
}

// What a fastener got through an adapter is more than the wrench showed.
func TestReader_PulledThroughAnAdapter(t *testing.T) {
	through := audit.Mark{Stage: "snug", Fastener: "1", Adapter: "cf-22", Applied: int64(7 * unit.NewtonMetre)}
	for name, ev := range map[string]audit.Event{"fitted at the bench": audit.AdapterFitted{Bench: "1", Adapter: "cf-22", WrenchLength: 1, Extension: 1, Person: "p"},
		"named by the procedure": audit.ProcedureAdded{Family: "F", Revision: "1", Text: "stages: [{id: snug, adapter: cf-22}]"}} {
		s := newShop(t)
		s.pulls([][]audit.Mark{{{Stage: "snug", Fastener: "1"}}, {through}}, ev)
		p, err := s.reader().Pulled(t.Context(), store.Step{Family: "F", Joint: "caps", Stage: "snug", Fastener: "1"}, time.Now().AddDate(9, 0, 0))
		if err != nil || fmt.Sprint(p.Torques) != "[1 N·m 7 N·m]" {
			t.Errorf("%s: got %v, %v, want the torques at the fastener", name, p, err)
		}
	}
}

// A database that an older version laid out is refused in one sentence, before anything is read of it.
func TestOpenReader_OlderSchema(t *testing.T) {
	for _, lacks := range []string{"DROP TABLE witnessmark.calibration_found", "ALTER TABLE witnessmark.mark DROP COLUMN applied"} {
		s := newShop(t)
		if err := s.open().Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := s.connect().Exec(t.Context(), lacks); err != nil {
			t.Fatal(err)
		}
		if r, err := store.OpenReader(t.Context(), s.opt.URL, "s1"); !errors.Is(err, store.ErrOlderSchema) || r != nil || strings.Contains(err.Error(), "SQLSTATE") {
			t.Errorf("%s: got %v, want one sentence", lacks, err)
		}
	}
}

// A step with more readings than are read is read evenly from the first to the last.
func TestReader_PulledSample(t *testing.T) {
	s := newShop(t)
	marks := make([][]audit.Mark, 2*store.SampleOf)
	for i := range marks {
		marks[i] = []audit.Mark{{Stage: "snug", Fastener: "1"}}
	}
	s.pulls(marks)
	p, err := s.reader().Pulled(t.Context(), store.Step{Family: "F", Joint: "caps", Stage: "snug", Fastener: "1"}, time.Now().AddDate(9, 0, 0))
	if err != nil || !p.Sampled || p.All != len(marks) || len(p.Torques) != store.SampleOf {
		t.Fatalf("got %d of %d, %v", len(p.Torques), p.All, err)
	}
	low, high := p.Torques[0], p.Torques[0]
	for _, v := range p.Torques {
		low, high = min(low, v), max(high, v)
	}
	if low != unit.NewtonMetre || high < unit.Torque(len(marks)-2)*unit.NewtonMetre {
		t.Errorf("got a sample from %s to %s, want the whole range", low, high)
	}
}

func TestHistory_Until(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 30)
	h, err := s.reader().History(t.Context(), "E-100")
	if err != nil {
		t.Fatal(err)
	}
	at := func(second int) time.Time { return time.Date(2026, 5, 4, 9, 0, second, 1000, time.UTC) }
	h.Until(at(12))
	if run := h.Builds[0].Runs[0]; len(run.Readings) != 4 || len(run.Scans) != 0 || len(run.Answers) != 1 {
		t.Errorf("got %d readings, %d scans, %d answers, want those up to entry 12", len(run.Readings), len(run.Scans), len(run.Answers))
	}
	h.Builds[0].Runs[0].Readings[3].Marks = append(h.Builds[0].Runs[0].Readings[3].Marks, store.MarkHistory{At: at(20)})
	h.Until(at(12))
	if marks := h.Builds[0].Runs[0].Readings[3].Marks; len(marks) != 1 {
		t.Errorf("got %d marks, want the one that was said by then", len(marks))
	}
	h.Until(at(3))
	if len(h.Builds) != 0 {
		t.Errorf("got %d builds before the first", len(h.Builds))
	}
}
