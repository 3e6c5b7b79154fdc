package main

import (
	"archive/zip"
	"encoding/json"
	"fmt"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

const cover = `format: witnessmark/procedure/1
family: TB-7
revision: "1"
title: Short block
source: invented for this test
decision: simple
joints:
  - id: cover
    title: Front cover
    criticality: A
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0]}
      - {id: "2", at: [80, 0]}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}
`

// onDay is a daemon with one wrench, whose clock stands still until it is told the day.
type onDay struct {
	t    *testing.T
	data string
	now  atomic.Int64
	sim  *sim.Wrench
	sent int64
}

func newDay(t *testing.T, day string) *onDay {
	t.Helper()
	o := &onDay{t: t, data: t.TempDir()}
	o.is(day)
	line, err := sim.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	form, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	clock := func() time.Time { return time.UnixMicro(o.now.Load()).UTC() }
	o.sim = sim.New(sim.Options{Wrench: "TW-01", Form: form, Line: line, Clock: clock, Resend: 200 * time.Millisecond})
	if err := o.sim.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Parse("test.yaml", []byte(`format: witnessmark/config/1
shop: {id: north, name: North engine shop}
listen: 127.0.0.1:0
benches:
  - {id: "1", wrenches: [TW-01]}
wrenches:
  - {id: TW-01, port: "tcp://`+line.Addr()+`", profile: semicolon-xor, calibration: {certificate: C-1, done: 2026-01-17, due: 2027-01-17, range: 10..200 N·m}}
`))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := o.sim.Close(); err != nil {
			t.Error(err)
		}
	})
	works(t, cfg, o.data, clock)
	return o
}

func (o *onDay) is(day string) {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		o.t.Fatal(err)
	}
	o.now.Store(at.Add(9 * time.Hour).UnixMicro())
}

func (o *onDay) pull(torque, angle int64) {
	o.t.Helper()
	o.sent++
	n, a := o.sent, unit.Angle(angle)*unit.Degree
	err := o.sim.Send(o.t.Context(), device.Reading{Wrench: "TW-01", Torque: unit.Torque(torque) * unit.NewtonMetre, TorqueText: fmt.Sprintf("%d.0", torque),
		Unit: unit.Nm, Angle: &a, Direction: device.Tighten, Counter: &n})
	if err != nil {
		o.t.Fatal(err)
	}
}

// says runs a command, given by its words, and wants its exit code and what it says.
func (o *onDay) says(code int, want, args string, more ...string) string {
	o.t.Helper()
	got, out, errs := said(o.t, append(append(strings.Fields(args), more...), "--data", o.data)...)
	if got != code || !strings.Contains(out+errs, want) {
		o.t.Errorf("%s %q: got %d, %q, %q, want %d and %q", args, more, got, out, errs, code, want)
	}
	return out
}

// TestCommands_AWrenchFoundBad releases an engine and then hears that its wrench showed 6 % too much: every command that tells
// of that engine says so, and none does of the time before.
func TestCommands_AWrenchFoundBad(t *testing.T) {
	o := newDay(t, "2026-05-04")
	o.says(exitOK, "", "procedure add", write(t, "cover.yaml", cover))
	for _, order := range []string{"W-1", "W-2"} {
		o.says(exitOK, "", "build open --engine E-"+order[2:]+" --family TB-7 --by Ada --work-order "+order)
		o.says(exitOK, "", "joint start cover --bench 1 --by Ada --build "+order)
		for _, pull := range [][2]int64{{30, 25}, {30, 26}, {60, 25}, {60, 26}} {
			o.pull(pull[0], pull[1])
		}
		o.says(exitOK, "", "joint close --bench 1 --by Ada")
	}
	written(t, o.data) // a release signs what is in the database
	o.says(exitOK, "released", "build release W-1 --by Quinn")
	written(t, o.data)
	before := o.says(exitOK, "", "history --engine E-1")
	o.is("2026-06-10")
	o.says(exitOK, "recorded", "wrench found TW-01 --certificate C-2 --on 2026-06-09 --bad --by Quinn --points", "6 %@40 N·m")
	written(t, o.data)
	const sign = "a calibration found bad since touches 4 of its readings"
	const finding = "wrench TW-01 was found bad by certificate C-2 (6 %@40 N·m), in doubt since 2026-01-17 until now, and on its readings, 4 in all, rest: " +
		"stage snug, fastener 1, 2; stage seat, fastener 1, 2"
	o.says(exitOK, "released, but "+sign, "build list")
	o.says(exitAttention, "released, but "+sign, "build review W-1")
	o.says(exitAttention, "joint cover, "+finding+". With the deviation found 2 verdicts would turn: stage seat, fastener 1 was 56.60 N·m: low torque;", "build review W-2")
	for _, depth := range []string{"overview", "joint", "fastener", "mark"} {
		o.says(exitOK, sign, "history --engine E-1 --depth "+depth)
		o.says(exitOK, finding, "history --engine E-1 --depth "+depth)
	}
	after := o.says(exitOK, "wrench found bad", "history --engine E-1")
	if strings.Count(after, "  pass  ") != strings.Count(before, "  pass  ") || strings.Count(before, "  pass  ") != 4 {
		t.Errorf("got %q after %q, want the verdicts as they were judged", after, before)
	}
	o.says(exitOK, sign, "claim E-1")
	o.says(exitOK, finding, "claim E-1")
	for _, args := range []string{"claim E-1 --at 2026-06-09", "claim E-1 --joint cover --fastener 1 --at 2026-06-09"} {
		if out := o.says(exitOK, "released 2026-05-04", args); strings.Contains(out, "found bad") {
			t.Errorf("%s: got %q, want nothing of what was found later", args, out)
		}
	}
	o.says(exitOK, finding, "claim E-1 --at 2026-06-10")
	t.Run("the bundle proves it", func(t *testing.T) { bundleOfDoubt(t, o) })
	t.Run("the build sheet says it", func(t *testing.T) { sheetOfDoubt(t, o) })
	t.Run("no release without a word on it", func(t *testing.T) { releaseOfDoubt(t, o) })
	o.says(exitOK, "ok: shop north", "verify")
}

func bundleOfDoubt(t *testing.T, o *onDay) {
	file := filepath.Join(t.TempDir(), "e1.zip")
	o.says(exitOK, "proved against", "bundle W-1 -o "+file)
	o.says(exitOK, "ok: build", "verify "+file)
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	n := 0
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var is struct{ Kind, Certificate string }
		if err := json.NewDecoder(r).Decode(&is); err == nil && is.Kind == "calibration found" && is.Certificate == "C-2" {
			n++
		}
	}
	if n != 1 {
		t.Errorf("got %d findings in the bundle, want the one", n)
	}
}

func sheetOfDoubt(t *testing.T, o *onDay) {
	file := filepath.Join(t.TempDir(), "e1.pdf")
	o.says(exitOK, "", "sheet W-1 -o "+file)
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no pdftotext here")
	}
	text, err := exec.CommandContext(t.Context(), "pdftotext", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	flat := strings.Join(strings.Fields(string(text)), " ")
	for _, want := range []string{"In doubt: a calibration found bad since touches 4 of its readings", "wrench TW-01 was found bad by certificate C-2 (6 %@40 N·m)"} {
		if !strings.Contains(flat, want) {
			t.Errorf("got %s, want %q on the sheet", flat, want)
		}
	}
}

func releaseOfDoubt(t *testing.T, o *onDay) {
	id := ""
	for _, word := range strings.Fields(o.says(exitAttention, "", "build review W-2")) {
		if word == "found-bad:cover/TW-01/C-2" {
			id = word
		}
	}
	o.says(exitAttention, "["+id+"]", "build release W-2 --by Quinn")
	o.says(exitAttention, "needs a second person", "concede W-2 --by Quinn --reason loaded-lightly", id)
	o.says(exitOK, "nothing stands in the way", "concede W-2 --by Quinn --second Rosa --reason loaded-lightly", id)
	written(t, o.data)
	o.says(exitOK, "W-2: released", "build release W-2 --by Quinn")
	written(t, o.data)
	var e sheet.Engine
	if err := json.Unmarshal([]byte(o.says(exitOK, "", "history --engine E-2 --format json")), &e); err != nil {
		t.Fatal(err)
	}
	if b := e.Builds[0]; b.InDoubt() != "" || len(b.Joints[0].Doubts) != 1 || !slices.Contains(b.Joints[0].Steps[2].Marks[0].Flags, audit.FoundBad) {
		t.Errorf("got %+v, want it conceded, and every reading still flagged", b)
	}
	o.says(exitAttention, "reopen it first", "concede W-1 --by Quinn --second Rosa --reason x", id)
	o.says(exitOK, "recorded", "wrench found TW-01 --certificate C-2 --on 2026-06-09 --good --by Quinn")
	if out := o.says(exitOK, "released", "build list"); strings.Contains(out, "since touches") {
		t.Errorf("got %q, want no sign once the finding was taken back", out)
	}
}

// TestCommands_ManyAtOnce concedes all findings of a kind, and says which reading a fastener was where that is plain.
func TestCommands_ManyAtOnce(t *testing.T) {
	o := newDay(t, "2026-05-04")
	o.says(exitOK, "procedure add FILE", "procedure list")
	o.says(exitOK, "build open", "build list")
	o.says(exitOK, "", "procedure add", write(t, "cover.yaml", cover))
	o.says(exitOK, "", "build open --engine E-1 --family TB-7 --by Ada --work-order W-1")
	o.says(exitInput, "no procedure TB-9", "build open --engine E-2 --family TB-9 --by Ada --work-order W-2")
	o.says(exitInput, `no joint "attic"`, "joint start attic --bench 1 --by Ada --build W-1")
	o.says(exitInput, "no bench 9", "joint start cover --bench 9 --by Ada --build W-1")
	o.says(exitInput, "no build 999", "build review 999")
	o.says(exitOK, "", "joint start cover --bench 1 --by Ada --build W-1")
	o.pull(30, 25)
	o.pull(45, 30) // neither 27 … 33 nor 57 … 63 N·m
	o.says(exitAttention, "(45 N·m), fits no stage of fastener 1: if it is the one you mean, say so with --reading ", "locate 1 --bench 1 --by Ada")
	o.says(exitInput, `no fastener "9"`, "locate 9 --bench 1 --by Ada")
	o.says(exitOK, "Bench 1", "locate --none --bench 1 --by Ada")
	o.pull(31, 26)
	o.says(exitOK, "Bench 1", "locate 2 --bench 1 --by Ada")
	o.says(exitAttention, "is not complete", "joint close --bench 1 --by Ada")
	before := o.says(exitAttention, "2 findings stand in the way", "build review W-1")
	o.says(exitInput, "--all-of", "concede W-1 --by Quinn --reason x")
	o.says(exitInput, "--all-of", "concede W-1 step:cover/seat/1 --all-of step --by Quinn --reason x")
	o.says(exitInput, "no finding of the kind", "concede W-1 --all-of re-hit --by Quinn --reason x")
	o.says(exitInput, "has no finding", "concede W-1 step:cover/seat/9 --by Quinn --reason x")
	o.says(exitAttention, "needs a second person", "concede W-1 --all-of step --by Quinn --reason x")
	if after := o.says(exitAttention, "", "build review W-1"); strings.Count(after, "open step") != strings.Count(before, "open step") {
		t.Errorf("got %s after %s, want nothing conceded without the second person", after, before)
	}
	out := o.says(exitOK, "nothing stands in the way", "concede W-1 --by Quinn --second Rosa --reason light --all-of", "Open step")
	if strings.Count(out, "conceded: step:cover/seat/") != 2 {
		t.Errorf("got %s, want each finding conceded for itself", out)
	}
	written(t, o.data)
	o.says(exitOK, "too few readings of the same step in the family to say where it lies: 1", "claim E-1 --joint cover --fastener 1")
	o.says(exitOK, "1 joint of 1 engine\n", "affected --bench 1")
	o.says(exitOK, "taken up again", "joint start cover --bench 1 --by Ada --build W-1")
	o.pull(60, 30)
	o.pull(60, 30)
	o.says(exitOK, "joint cover of engine E-1 is complete and closed", "joint close --bench 1 --by Ada")
	written(t, o.data)
	o.says(exitOK, "1 joint of 1 engine in 2 runs", "affected --bench 1")
	o.says(exitOK, "5 readings of 1 build in doubt", "wrench affected TW-01")
	o.says(exitOK, "stands under the id", "person forget Ada --by Quinn --reason over")
}

// TestCommands_AReadingWithNoJoint pulls before the joint is on the bench, and says afterwards where that belongs.
func TestCommands_AReadingWithNoJoint(t *testing.T) {
	o := newDay(t, "2026-05-04")
	o.says(exitOK, "", "procedure add", write(t, "cover.yaml", cover))
	o.says(exitOK, "", "build open --engine E-1 --family TB-7 --by Ada --work-order W-1")
	o.pull(30, 25)
	c := control.NewClient(daemon.Folder(o.data).Socket())
	defer c.Close()
	newest := func() string {
		st, err := c.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprint(st.Entries)
	}
	reading := newest()
	to := func(fastener string) []string {
		return []string{reading, "--fastener", fastener, "--build", "W-1", "--joint", "cover"}
	}
	const correct = "correct --by Ada --reason forgot-to-start"
	o.says(exitInput, "was never begun", correct, to("1")...)
	o.says(exitOK, "", "joint start cover --bench 1 --by Ada --build W-1")
	o.pull(31, 26)
	second := newest()
	o.says(exitInput, "go together", correct, reading, "--fastener", "1", "--build", "W-1")
	o.says(exitInput, "name the build and the joint", correct, reading, "--fastener", "1")
	o.says(exitInput, `no fastener "9"`, correct, to("9")...)
	o.says(exitAttention, "say which fastener", correct, reading, "--none", "--build", "W-1", "--joint", "cover")
	before := o.now.Load()
	o.is("2026-05-05")
	o.says(exitOK, "reading "+reading+" is now joint cover, stage snug, fastener 1: pass", correct, to("1")...)
	o.says(exitAttention, "belongs to joint cover of build", correct, to("1")...)
	o.says(exitOK, "reading "+second+" is now joint cover, stage snug, fastener 2: pass", correct, second, "--fastener", "2", "--stage", "snug")
	o.says(exitOK, "is now joint cover, stage snug, fastener 1: pass", correct, reading, "--fastener", "1", "--stage", "snug") // once it is in, as any other
	for range 2 {
		o.pull(60, 26)
	}
	o.says(exitOK, "is complete and closed", "joint close --bench 1 --by Ada")
	o.says(exitOK, "nothing stands in the way", "build review W-1")
	written(t, o.data)
	o.says(exitOK, "#"+reading+" was before: no step: not judged, known by – (unexpected)", "history --engine E-1 --depth mark")
	o.says(exitOK, "corrected by Ada", "history --engine E-1")
	if out := o.says(exitOK, "30.0 N·m", "claim E-1 --joint cover"); !strings.Contains(out, "forgot-to-start") {
		t.Errorf("got %s, want the reason", out)
	}
	at := time.UnixMicro(before).UTC().Add(time.Hour).Format(time.RFC3339)
	if out := o.says(exitOK, "31.0 N·m", "claim E-1 --joint cover --at", at); strings.Contains(out, "30.0 N·m") {
		t.Errorf("got %s, want nothing of a reading that was said later to belong here", out)
	}
	file := filepath.Join(t.TempDir(), "e1.zip")
	o.says(exitOK, "proved against", "bundle W-1 -o "+file)
	o.says(exitOK, "ok: build", "verify "+file)
	o.says(exitOK, "ok: shop north", "verify")
	o.says(exitOK, "W-1: released", "build release W-1 --by Quinn")
}
