package paper_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/paper"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

var keep = flag.String("keep", "", "folder to keep the sheets in, to be looked at")

func TestMain(m *testing.M) { os.Exit(clustertest.Main(m)) }

var begin = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// shop is a bench whose events are matched, judged and recorded in a real database.
type shop struct {
	t    *testing.T
	opt  store.Options
	live *bench.Shop
	all  []audit.Outcome
}

func newShop(t *testing.T) *shop {
	key, err := ledger.LoadOrCreateKey(filepath.Join(t.TempDir(), "key"), store.Origin("s1"))
	if err != nil {
		t.Fatal(err)
	}
	s := &shop{t: t, live: bench.NewShop(nil), opt: store.Options{URL: clustertest.Database(t), Shop: "s1", Key: key,
		Outside: filepath.Join(t.TempDir(), "checkpoint"), Clock: func() time.Time { return begin.Add(10 * time.Hour) }}}
	done, due := begin.AddDate(0, -2, 0), begin.AddDate(0, 10, 0)
	s.apply(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	s.apply(audit.WrenchDeclared{Wrench: "W1", Title: "Long wrench", Certificate: "C-881", Calibrated: &done, Due: &due, Class: "II A",
		RangeLow: int64(5 * unit.NewtonMetre), RangeHigh: int64(300 * unit.NewtonMetre), Deviation: -4_000, Uncertainty: 12_000})
	return s
}

func (s *shop) apply(ev audit.Event) uint64 {
	s.t.Helper()
	seq := uint64(len(s.all)) + 1
	o := s.live.Apply(audit.Entry{Seq: seq, At: begin.Add(time.Duration(seq) * 17 * time.Second), Event: ev})
	if o.Refused != "" {
		s.t.Fatalf("refused: %s", o.Refused)
	}
	s.all = append(s.all, o)
	return seq
}

func (s *shop) begin(text, engine string) (*procedure.Procedure, uint64) {
	s.t.Helper()
	p, err := procedure.Parse("test", []byte(text))
	if err != nil {
		s.t.Fatal(err)
	}
	s.apply(audit.ProcedureAdded{Family: p.Family, Revision: p.Revision, Title: p.Title, Text: text})
	return p, s.apply(audit.BuildOpened{Engine: engine, Family: p.Family, Revision: p.Revision, WorkOrder: "WO-1", Person: "p1"})
}

func (s *shop) start(build uint64, joint string) uint64 {
	return s.apply(audit.JointStarted{Bench: "B1", Build: build, Joint: joint, Person: "p1"})
}

// pull takes a reading; torque in tenths of N·m, angle in tenths of a degree, below 0: none.
func (s *shop) pull(torque, angle int64) uint64 {
	t := unit.Torque(torque) * unit.NewtonMetre / 10
	r := device.Reading{Wrench: "W1", Torque: t, TorqueText: t.In(unit.Nm, 1), Unit: unit.Nm, Direction: device.Tighten, Raw: []byte("x"), Profile: "p 1"}
	if angle >= 0 {
		a := unit.Angle(angle) * unit.Degree / 10
		r.Angle = &a
	}
	return s.apply(audit.ReadingTaken{Bench: "B1", Reading: r})
}

// record writes everything and reads it back as a sheet needs it.
func (s *shop) record(change func(*paper.Record)) paper.Record {
	s.t.Helper()
	st, err := store.Open(s.t.Context(), s.opt)
	if err != nil {
		s.t.Fatal(err)
	}
	defer st.Close()
	if err := st.Commit(s.t.Context(), s.all); err != nil {
		s.t.Fatal(err)
	}
	r, err := store.OpenReader(s.t.Context(), s.opt.URL, "")
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Close()
	h, err := r.Build(s.t.Context(), "WO-1")
	if err != nil {
		s.t.Fatal(err)
	}
	rec := paper.Record{Shop: "s1", History: h, Key: s.opt.Key.Public}
	if rec.Declarations, err = r.Declarations(s.t.Context(), &h.Builds[0]); err != nil {
		s.t.Fatal(err)
	}
	if rec.Signed, rec.SignedAt, err = r.SignedAfter(s.t.Context(), &h.Builds[0]); err != nil {
		s.t.Fatal(err)
	}
	if change != nil {
		change(&rec)
	}
	return rec
}

// printed is a sheet as the tools of poppler see it.
type printed struct {
	pages int
	text  string
}

func print(t *testing.T, r paper.Record, o paper.Options) printed {
	t.Helper()
	var b bytes.Buffer
	if err := paper.Sheet(&b, r, o); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "sheet.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if *keep != "" {
		kept := filepath.Join(*keep, strings.ReplaceAll(t.Name(), "/", "-")+".pdf")
		if err := os.WriteFile(kept, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	run := func(name string, args ...string) string {
		t.Helper()
		out, err := exec.Command(name, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", name, err, out)
		}
		return string(out)
	}
	run("pdftoppm", "-r", "20", "-png", file, filepath.Join(dir, "page"))
	pages, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	if err != nil {
		t.Fatal(err)
	}
	return printed{len(pages), run("pdftotext", "-layout", file, "-")}
}

func (p printed) must(t *testing.T, texts ...string) {
	t.Helper()
	flat := strings.Join(strings.Fields(p.text), " ")
	for _, want := range texts {
		if !strings.Contains(flat, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

// large is a procedure with so many fasteners along two long sides, in five stages.
func large(n int, places bool) string {
	var b strings.Builder
	b.WriteString(`format: witnessmark/procedure/1
family: BG-9
revision: "2"
title: Bedplate
source: invented for this test
decision: simple
joints:
  - id: bedplate
    title: Bedplate to block
    criticality: A
    round: stage
    order: listed
    fasteners:
`)
	for i := range n {
		at := ""
		if places {
			at = fmt.Sprintf(", at: [%d, %d]", i/2*62+i%2*9, i%2*210)
		}
		fmt.Fprintf(&b, "      - {id: %q%s}\n", fmt.Sprintf("F%d", i+1), at)
	}
	b.WriteString(`    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: seat, tighten_to: 60 N·m, accept: ±5 %, angle: 5..80°}
      - {id: ease, loosen_by: 90°, accept: ±15°}
      - {id: again, tighten_to: 75 N·m, accept: ±5 %}
      - {id: turn, turn_by: 90°, accept: ±8°, torque: 60..250 N·m}
`)
	return b.String()
}

// tighten plays every step of a joint as it should be, with bolts that differ a little.
func (s *shop) tighten(j *procedure.Joint) {
	for i, step := range j.Sequence() {
		odd := int64(i*7%11) - 5
		switch step.Action {
		case procedure.TightenTo:
			s.pull(int64(step.Torque/100_000)+odd*2, 250+odd*8)
		case procedure.TurnBy:
			s.pull(1500+odd*30, 900+odd*5)
		case procedure.LoosenBy:
			s.loosen(400+odd*10, 900+odd*9)
		}
	}
}

func (s *shop) loosen(torque, angle int64) {
	t, a := unit.Torque(torque)*unit.NewtonMetre/10, unit.Angle(angle)*unit.Degree/10
	s.apply(audit.ReadingTaken{Bench: "B1", Reading: device.Reading{Wrench: "W1", Torque: t, TorqueText: t.In(unit.Nm, 1), Unit: unit.Nm,
		Angle: &a, Direction: device.Loosen, Raw: []byte("x"), Profile: "p 1"}})
}

func TestSheet_FortyFastenersInFiveStages(t *testing.T) {
	s := newShop(t)
	p, build := s.begin(large(40, true), "BG9-00417")
	run := s.start(build, "bedplate")
	s.tighten(&p.Joints[0])
	s.apply(audit.JointClosed{Bench: "B1", Run: run, Person: "p1"})
	got := print(t, s.record(nil), paper.Options{})
	got.must(t, "BG9-00417", "Every step is done", "BG-9 revision 2, Bedplate (invented for this test)", "200 of 200", "C-881", "−0.40 %", "1.20 %", fmt.Sprintf("page %d of %d", got.pages, got.pages))
	for i := range 40 {
		got.must(t, fmt.Sprintf("[F%d]", i+1))
	}
	if got.pages < 6 || got.pages > 20 {
		t.Errorf("got %d pages", got.pages)
	}
}

func TestSheet_AWrenchThatWasFoundBad(t *testing.T) {
	s := newShop(t)
	p, build := s.begin(large(4, true), "BG9-00420")
	s.start(build, "bedplate")
	s.tighten(&p.Joints[0])
	s.apply(audit.CalibrationFound{Wrench: "W1", Certificate: "C-990", Found: begin.AddDate(0, 0, 1), Person: "p1"})
	got := print(t, s.record(nil), paper.Options{})
	got.must(t, fmt.Sprintf("In doubt: a calibration found bad since touches %d of its readings", len(p.Joints[0].Sequence())), "wrench W1 was found bad by certificate C-990")
}

func TestSheet_TwoHundredFastenersWithoutPlaces(t *testing.T) {
	s := newShop(t)
	_, build := s.begin(large(200, false), "BG9-00418")
	s.start(build, "bedplate")
	for i := range 201 { // and two of the next stage
		s.pull(300+int64(i%2), 250)
	}
	s.pull(600, 250)
	got := print(t, s.record(nil), paper.Options{Paper: paper.Letter})
	got.must(t, "Not complete: 0 of 1 joints are done.", "stand in rows", "started by Ines Falk, still there.")
	for i := range 200 {
		got.must(t, fmt.Sprintf("[F%d]", i+1))
	}
}

// ugly is a build with everything that can go wrong at a bench.
func ugly(t *testing.T) *shop {
	s := newShop(t)
	text, err := os.ReadFile("../../../../testdata/procedures/tb-42-rev-4.yaml")
	if err != nil {
		t.Fatal(err)
	}
	_, build := s.begin(string(text), "TB42-10999")
	run := s.start(build, "head")
	s.pull(400, 400)
	s.apply(audit.PersonAdded{Person: "p2", Name: "Cy Moor"})
	s.apply(audit.HandedOver{Bench: "B1", Run: run, Person: "p2"})
	s.pull(292, 290) // given up
	s.pull(401, 110)
	s.pull(400, 410)
	s.pull(403, 20) // hit again
	n := s.pull(475, 460)
	s.apply(audit.FastenerNamed{Bench: "B1", Run: run, Reading: n, Fastener: "10", Person: "p1"})
	s.pull(405, -1)
	s.pull(950, 370)
	s.pull(400, 395)
	n = s.pull(398, 402)
	s.apply(audit.FastenerNamed{Bench: "B1", Run: run, Reading: n, Fastener: "6", Person: "p1"})
	s.loosen(310, 900)
	return s
}

func TestSheet_Ugly(t *testing.T) {
	got := print(t, ugly(t).record(nil), paper.Options{})
	got.must(t, "Not complete", "B1 Ines Falk 2", "taken over by Cy Moor, whose the readings after it are.", "▲ low torque", "high torque", "none", "○ open", "never begun", "Not released. ",
		"re-hit", "not answered")
}

// A joint that waits for its verification has every step done, and the first page says what is still open.
func TestSheet_ToBeVerified(t *testing.T) {
	const text = `format: witnessmark/procedure/1
family: SM-2
revision: "1"
title: Cover
source: invented for this test
decision: simple
fastener_types:
  stud: {thread: M8x1.25, length: 40 mm, class: "8.8", reuse: never}
joints:
  - id: cover
    title: Cover
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "1", type: stud}
      - {id: "2", type: stud}
    checks:
      - {id: fitted, ask: New bolts fitted, answer: bolts}
      - {id: lot, ask: Lot of the bolts, answer: lot}
    stages:
      - {id: set, tighten_to: 40 N·m, accept: ±10 %}
      - {id: residual, verify: 38..50 N·m}
`
	s := newShop(t)
	_, build := s.begin(text, "SM2-1")
	run := s.start(build, "cover")
	s.apply(audit.CheckAnswered{Bench: "B1", Run: run, Check: "fitted", Yes: true, Value: "2", Person: "p1"})
	s.apply(audit.CheckAnswered{Bench: "B1", Run: run, Check: "lot", Yes: true, Value: "L-2217", Person: "p1"})
	s.pull(400, 400)
	s.pull(401, 403)
	got := print(t, s.record(nil), paper.Options{})
	got.must(t, "Every step but the verification is done, and every check is accepted.", "every step done, to be verified",
		"verification is still open: stage residual is open for fastener 1, 2", "L-2217", "at least 2")
}

// What people said about the build stands on the first page; a new bolt and an adapter where they belong.
func TestSheet_WhatPeopleSaid(t *testing.T) {
	const text = `format: witnessmark/procedure/1
family: SM-1
revision: "1"
title: Manifold
source: invented for this test
decision: simple
adapters:
  crow: {lever: 400 mm, offset: 80 mm}
fastener_types:
  stud: {thread: M8x1.25, length: 40 mm, class: "8.8", reuse: never}
joints:
  - id: manifold
    title: Exhaust manifold
    criticality: A
    round: stage
    order: listed
    fasteners:
      - {id: "1", type: stud}
      - {id: "2", type: stud}
      - {id: "3", type: stud}
    stages:
      - {id: seat, tighten_to: 25 N·m, accept: ±10 %, adapter: crow}
`
	s := newShop(t)
	_, build := s.begin(text, "SM1-7")
	s.apply(audit.PersonAdded{Person: "p2", Name: "Bo Lind"})
	run := s.start(build, "manifold")
	s.pull(208, 300)
	s.pull(250, 310) // too much
	s.pull(208, 305)
	stray := s.pull(90, 100)
	s.apply(audit.BoltReplaced{Bench: "B1", Run: run, Fastener: "1", Reason: "thread damaged", Person: "p1"})
	again := s.pull(209, 302)
	s.apply(audit.FastenerNamed{Bench: "B1", Run: run, Reading: again, Fastener: "1", Person: "p1"})
	s.apply(audit.JointClosed{Bench: "B1", Run: run, Person: "p1"})
	s.apply(audit.CorrectionMade{Build: build, Run: run, Reading: stray, Reason: "tried on the bench block", Person: "p1"})
	review, err := s.live.Review(build)
	if err != nil || len(review.Blocking()) == 0 {
		t.Fatalf("got %+v, %v, want something to concede", review, err)
	}
	for _, f := range review.Blocking() {
		s.apply(s.live.Conceding(audit.ConcessionGranted{Build: build, Finding: f.ID, Reason: "as the maker's bulletin allows", Person: "p1", Seconded: "p2"}))
	}
	s.apply(audit.BuildReleased{Build: build, Reviewed: uint64(len(s.all)), Recorded: uint64(len(s.all)), Size: 40, Root: make([]byte, 32), Person: "p2"})
	got := print(t, s.record(nil), paper.Options{})
	got.must(t, "Released on 2026-03-02", "by Bo Lind.", "▲ high torque", "24.96 N·m at the", "through adapter", "torque at the fastener, N·m", "thread damaged", "of a bolt that",
		"tried on the bench block", "Ines Falk, seconded by", "having seen the", "New bolts:")
	s.apply(audit.BuildReopened{Build: build, Reason: "a leak at the test", Person: "p2"})
	t.Run("reopened", func(t *testing.T) {
		again := newShop(t)
		again.all = s.all
		print(t, again.record(func(r *paper.Record) { r.History.Builds[0].Reopenings[0].By = "" }), paper.Options{}).
			must(t, "Not released. ", "Release taken back a leak at the test (name blanked)")
	})
}

// A check is printed as open for each fastener that lacks it, also for a bolt that was renewed, and not before its time.
func TestSheet_OpenChecks(t *testing.T) {
	const text = `format: witnessmark/procedure/1
family: SM-3
revision: "1"
title: Cap
source: invented for this test
decision: simple
fastener_types:
  stud: {thread: M8x1.25, length: 40 mm, class: "8.8", reuse: "3"}
joints:
  - id: cap
    title: Cap
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "A1", type: stud}
      - {id: "A2", type: stud}
    checks:
      - {id: stretch, ask: Stretch, accept: 0.1..0.2 mm, each: fastener}
      - {id: paint, ask: Paint marks drawn, after: residual}
    stages:
      - {id: set, tighten_to: 40 N·m, accept: ±10 %}
      - {id: residual, verify: 38..50 N·m}
`
	s := newShop(t)
	_, build := s.begin(text, "SM3-1")
	run := s.start(build, "cap")
	s.pull(400, 400)
	s.pull(401, 403)
	stretched := func(fastener, value string) {
		s.apply(audit.CheckAnswered{Bench: "B1", Run: run, Check: "stretch", Fastener: fastener, Value: value, Person: "p1"})
	}
	stretched("A1", "0.15 mm")
	sheets := func(t *testing.T) printed {
		another := newShop(t) // a database of its own
		another.all = s.all
		return print(t, another.record(nil), paper.Options{})
	}
	t.Run("one of two fasteners", func(t *testing.T) {
		got := sheets(t)
		got.must(t, "Not complete: 0 of 1 joints are done.", "Stretch A1 0.1 … 0.2 mm 0.15 mm accepted", "Stretch A2 0.1 … 0.2 mm – ▲ not – – answered",
			"Paint marks drawn – yes – after the")
		if n := strings.Count(got.text, "▲ not"); n != 1 {
			t.Errorf("got %d checks not answered, want that of A2 alone", n)
		}
	})
	stretched("A2", "0.16 mm")
	t.Run("both, and the verification open", func(t *testing.T) {
		got := sheets(t)
		got.must(t, "Every step but the verification is done, and every check is accepted.", "every step done, to be verified")
		if strings.Contains(got.text, "▲ not") {
			t.Error("got a check that is not answered, want none")
		}
	})
	s.apply(audit.BoltReplaced{Bench: "B1", Run: run, Fastener: "A1", Reason: "thread damaged", Person: "p1"})
	t.Run("one renewed since", func(t *testing.T) {
		got := sheets(t)
		got.must(t, "Stretch A1 0.1 … 0.2 mm 0.15 mm accepted, of", "Stretch A1 0.1 … 0.2 mm – ▲ not – – answered")
		if n := strings.Count(got.text, "▲ not"); n != 1 {
			t.Errorf("got %d checks not answered, want that of A1 alone", n)
		}
	})
}

// What the readings leave in doubt is not in the record: a joint is called complete only where it was released so.
func TestSheet_ADoubt(t *testing.T) {
	const text = `format: witnessmark/procedure/1
family: SM-4
revision: "1"
title: Caps
source: invented for this test
decision: simple
joints:
  - id: caps
    title: Caps
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0]}
      - {id: "2", at: [80, 0]}
      - {id: "3", at: [0, 60]}
      - {id: "4", at: [80, 60]}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}
`
	doubtful := func(angle int64) (s *shop, build uint64) {
		s = newShop(t)
		_, build = s.begin(text, "SM4-1")
		run := s.start(build, "caps")
		for i := range int64(4) {
			s.pull(300+i, 255+i)
		}
		for i, a := range []int64{225, 226, angle, 228} {
			s.pull(600+int64(i), a)
		}
		s.apply(audit.JointClosed{Bench: "B1", Run: run, Person: "p1"})
		return s, build
	}
	for angle := int64(85); angle < 100; angle++ { // where it weighs as much to be a second hit is the matcher's affair
		s, build := doubtful(angle)
		review, err := s.live.Review(build)
		if err != nil {
			t.Fatal(err)
		}
		b := review.Blocking()
		if len(b) != 1 || b[0].Subject != bench.StepDoubted {
			continue
		}
		got := print(t, s.record(nil), paper.Options{})
		got.must(t, "Every step is done and every check is accepted.", "Not released. Nothing in the record asks for a look; the review before the release looks further.", "8 of 8 every step done")
		if strings.Contains(strings.ToLower(got.text), "complete") {
			t.Error("got a sheet that speaks of complete while the doubt stands")
		}
		s.apply(s.live.Conceding(audit.ConcessionGranted{Build: build, Finding: b[0].ID, Reason: "looked at again", Person: "p1"}))
		s.apply(audit.BuildReleased{Build: build, Reviewed: uint64(len(s.all)), Recorded: uint64(len(s.all)), Size: 40, Root: make([]byte, 32), Person: "p1"})
		after := newShop(t)
		after.all = s.all
		print(t, after.record(nil), paper.Options{}).must(t, "Complete: every joint is done and every check is accepted.", "8 of 8 complete")
		return
	}
	t.Fatal("no angle leaves a doubt")
}

func TestSheet_LettersAreNeverLost(t *testing.T) {
	r := ugly(t).record(func(r *paper.Record) {
		b := &r.History.Builds[0]
		b.Technician = "Jürgen Øvergård-Żółć Παπαδόπουλος Иванова"
		b.Runs[0].Technician = "山田 שלום e\u0301"
		b.Unit = strings.Repeat("Grain dryer with a very long name, ", 80) + "the end of the name"
		r.History.Engine = "TB42-" + strings.Repeat("0123456789", 12)
	})
	got := print(t, r, paper.Options{})
	got.must(t, "Jürgen Øvergård-Żółć Παπαδόπουλος Иванова", "‹U+5C71 U+7530›", "‹U+05E9 U+05DC U+05D5 U+05DD› é", "the end of the name",
		"stand as their Unicode numbers")
}

func TestSheet_Units(t *testing.T) {
	got := print(t, ugly(t).record(nil), paper.Options{Unit: unit.LbfFt})
	got.must(t, "in lbf·ft", "29.50", "29.5 (26.55 … 32.45)") // 40 N·m / 1.355 817 948 331 4, NIST SP 811 appendix B
}

func TestSheet_SameRecordSameBytes(t *testing.T) {
	r := ugly(t).record(nil)
	var first, again bytes.Buffer
	for i := range 6 {
		again.Reset()
		if err := paper.Sheet(&again, r, paper.Options{}); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first.Write(again.Bytes())
		} else if !bytes.Equal(first.Bytes(), again.Bytes()) {
			t.Fatal("got other bytes from the same record")
		}
	}
}
