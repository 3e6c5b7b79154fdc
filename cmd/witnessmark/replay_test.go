package main

import (
	"encoding/json"
	"strings"
	"testing"
)

const (
	longBlock = "../../testdata/procedures/tb-42-rev-4.yaml"
	cleanRun  = "../../testdata/replay/main-caps-clean.jsonl"
	hitTwice  = "../../testdata/replay/main-caps-hit-twice.jsonl"
)

// replayed is a line of the JSON output, as the contract draws it.
type replayed struct {
	Reading     int `json:"reading"`
	Live, Final *struct {
		Step *struct {
			Stage    string `json:"stage"`
			Fastener string `json:"fastener"`
		} `json:"step"`
		Verdict    string   `json:"verdict"`
		Flags      []string `json:"flags"`
		Confidence float64  `json:"confidence"`
		LocatedBy  string   `json:"located_by"`
	}
	Summary *struct {
		Complete *bool `json:"complete"`
		Open     []struct {
			Stage     string   `json:"stage"`
			Fasteners []string `json:"fasteners"`
		} `json:"open"`
		Attention []string `json:"attention"`
	} `json:"summary"`
}

func replayJSON(t *testing.T, file string) (code int, lines []replayed) {
	t.Helper()
	code, out, errs := said(t, "replay", "--procedure", longBlock, "--joint", "main-caps", "--format", "json", file)
	if errs != "" {
		t.Fatal(errs)
	}
	for _, text := range strings.Split(strings.TrimSpace(out), "\n") {
		var l replayed
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		lines = append(lines, l)
	}
	return code, lines
}

func TestReplay_CleanRun(t *testing.T) {
	code, lines := replayJSON(t, cleanRun)
	end := lines[len(lines)-1].Summary
	if code != exitOK || end == nil || !*end.Complete || len(end.Open) != 0 || len(end.Attention) != 0 {
		t.Errorf("got exit code %d and %+v, want 0, complete and clean", code, end)
	}
	if len(lines) != 29 {
		t.Fatalf("got %d lines, want one for each of 28 readings and the summary", len(lines))
	}
	for i, l := range lines[:28] {
		if l.Reading != i+1 || l.Final.Step == nil || l.Final.Verdict != "pass" || l.Final.LocatedBy != "order" || l.Final.Confidence < 0.5 || l.Final.Flags == nil {
			t.Errorf("line %d: got %+v", i+1, l)
		}
	}
	if got := lines[2].Live.Step; got.Stage != "snug" || got.Fastener != "3" {
		t.Errorf("the third reading: got %+v, want snug 3, which is third in the order", got)
	}
}

func TestReplay_HitTwiceAndTheNextMissed(t *testing.T) {
	code, lines := replayJSON(t, hitTwice)
	end := lines[len(lines)-1].Summary
	if code != exitAttention || *end.Complete || len(end.Open) != 1 || end.Open[0].Stage != "seat" || len(end.Open[0].Fasteners) != 1 {
		t.Errorf("got exit code %d and %+v, want 1 and one fastener of the seat stage open, though the count is right", code, end)
	}
	// The turn of the missed one ends at a lower torque, which tells it from the others.
	if !strings.Contains(strings.Join(end.Attention, "\n"), "stage seat: missed: 6") {
		t.Errorf("got %q, want the fourth of the order named", end.Attention)
	}
	again := 0
	for _, l := range lines[:len(lines)-1] {
		for _, f := range l.Final.Flags {
			if f == "re-hit" {
				again++
			}
		}
	}
	if again != 1 {
		t.Errorf("got %d re-hits, want 1", again)
	}
}

func TestReplay_BadInputIsRefusedWhole(t *testing.T) {
	good := `{"wrench":"W1","torque":30,"unit":"N·m"}` + "\n"
	for rule, c := range map[string]struct{ text, want string }{
		"not JSON":                    {good + "{\n", ":2: not a reading"},
		"an unknown field":            {good + `{"wrench":"W1","torque":30,"unit":"N·m","colour":"red"}`, ":2: not a reading: json: unknown field"},
		"no torque":                   {`{"wrench":"W1","unit":"N·m"}`, `:1: "torque" is missing`},
		"no wrench":                   {`{"torque":30,"unit":"N·m"}`, `:1: "wrench" is missing`},
		"an unknown unit":             {`{"wrench":"W1","torque":30,"unit":"stone"}`, `:1: "unit"`},
		"a number in text":            {`{"wrench":"W1","torque":"much","unit":"N·m"}`, ":1: not a reading"},
		"an exponent":                 {`{"wrench":"W1","torque":3e1,"unit":"N·m"}`, `:1: "torque"`},
		"a sign":                      {`{"wrench":"W1","torque":-30,"unit":"N·m"}`, "without a sign"},
		"an unknown direction":        {`{"wrench":"W1","torque":30,"unit":"N·m","direction":"left"}`, `"tighten" or "loosen"`},
		"a time that is none":         {`{"wrench":"W1","torque":30,"unit":"N·m","at":"noon"}`, "RFC 3339"},
		"a fastener of another joint": {`{"wrench":"W1","torque":30,"unit":"N·m","fastener":"77"}`, `no fastener "77"`},
		"two readings on a line":      {`{"wrench":"W1","torque":30,"unit":"N·m"} {}`, "more than one reading"},
		"an endless line":             {strings.Repeat("x", 1<<17), ":1: read a line"},
	} {
		t.Run(rule, func(t *testing.T) {
			file := write(t, "readings.jsonl", c.text)
			code, out, errs := said(t, "replay", "--procedure", longBlock, "--joint", "main-caps", file)
			if code != exitInput || out != "" || !strings.Contains(errs, file) || !strings.Contains(errs, c.want) {
				t.Errorf("got exit code %d, output %q, errors %q, want 2, nothing and %q", code, out, errs, c.want)
			}
		})
	}
	for rule, args := range map[string][]string{
		"a joint that does not exist":   {"replay", "--procedure", longBlock, "--joint", "nose", cleanRun},
		"a procedure that is none":      {"replay", "--procedure", cleanRun, "--joint", "main-caps", cleanRun},
		"a procedure that is not there": {"replay", "--procedure", "none.yaml", "--joint", "main-caps", cleanRun},
		"readings that are not there":   {"replay", "--procedure", longBlock, "--joint", "main-caps", "none.jsonl"},
		"a format that is not there":    {"replay", "--procedure", longBlock, "--joint", "main-caps", "--format", "xml", cleanRun},
	} {
		t.Run(rule, func(t *testing.T) {
			if code, out, errs := said(t, args...); code != exitInput || out != "" || errs == "" {
				t.Errorf("got exit code %d, output %q, errors %q, want 2 and a sentence", code, out, errs)
			}
		})
	}
}

func TestReplay_TextIsForPeople(t *testing.T) {
	code, out, _ := said(t, "replay", "--procedure", longBlock, "--joint", "main-caps", cleanRun)
	if code != exitOK || !strings.Contains(out, "Every step is done.") || !strings.Contains(out, "no safety device") || strings.Count(out, "\n") < 30 {
		t.Errorf("got exit code %d and\n%s", code, out)
	}
}
