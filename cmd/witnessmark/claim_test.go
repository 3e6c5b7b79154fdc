package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/wrenchsim/past"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

// TestMain is the program itself where the test binary was started again for that.
func TestMain(m *testing.M) {
	if os.Getenv(childMain) != "" {
		child()
	}
	os.Exit(clustertest.Main(m))
}

// years is a database with a made-up history and the data folder that belongs to it.
func years(t *testing.T, readings int) (url, data string) {
	t.Helper()
	data = t.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(data, "keys", "signing"), store.Origin("s1"))
	if err != nil {
		t.Fatal(err)
	}
	entries, err := past.Entries(readings, 5)
	if err != nil {
		t.Fatal(err)
	}
	url = clustertest.Database(t)
	opt := store.Options{URL: url, Shop: "s1", Key: key, Outside: filepath.Join(data, "checkpoint"), Clock: time.Now}
	if err := store.Fill(t.Context(), opt, true, entries, func(uint64) {}); err != nil {
		t.Fatal(err)
	}
	return url, data
}

func TestClaim(t *testing.T) {
	url, _ := years(t, 26_000)
	svg := filepath.Join(t.TempDir(), "a.svg")
	for rule, c := range map[string]struct {
		args      []string
		code      int
		out, errs string
	}{
		"a serial":             {[]string{"A100000"}, exitOK, "Engine A100000, build ", ""},
		"a work order":         {[]string{"WO-000001"}, exitOK, "work order WO-000001", ""},
		"written otherwise":    {[]string{"a1o0-000"}, exitOK, "a1o0-000 is written otherwise here: A100000", ""},
		"an order otherwise":   {[]string{"wo000001"}, exitOK, "wo000001 is written otherwise here: WO-000001", ""},
		"mistyped":             {[]string{"A10000O0"}, exitAttention, "Like it (one character is wrong", ""},
		"mistyped VIN":         {[]string{"1WM5DL003LS000000"}, exitAttention, "the check digit of the VIN is wrong", ""},
		"unknown":              {[]string{"nothing-like-it"}, exitAttention, "Nothing in this shop is known by nothing-like-it, and nothing like it.", ""},
		"SQL":                  {[]string{"'; DROP TABLE witnessmark.build; --"}, exitAttention, "nothing like it", ""},
		"a zero byte":          {[]string{"A1\x00"}, exitInput, "", "no characters"},
		"huge":                 {[]string{strings.Repeat("A", 100_000)}, exitInput, "", "80 at most"},
		"a fastener":           {[]string{"A100000", "--joint", "rod-caps", "--fastener", "3", "--svg", svg}, exitOK, "at percentile ", ""},
		"what the wrench sent": {[]string{"A100000", "--joint", "rod-caps", "--fastener", "3"}, exitOK, `\r\n`, ""},
		"a joint":              {[]string{"A100000", "--joint", "pan"}, exitOK, "The story of joint pan", ""},
		"no such joint":        {[]string{"A100000", "--joint", "'; --"}, exitInput, "", "front-cover, head-1"},
		"no such fastener":     {[]string{"A100000", "--joint", "pan", "--fastener", "999"}, exitInput, "", "no fastener 999"},
		"a fastener of what":   {[]string{"A100000", "--fastener", "1"}, exitInput, "", "--joint"},
		"a picture of what":    {[]string{"A100000", "--svg", svg}, exitInput, "", "--fastener"},
		"no date":              {[]string{"A100000", "--at", "yesterday"}, exitInput, "", "write it like"},
		"before it was there":  {[]string{"A100000", "--at", "2019-12-31"}, exitOK, "As it was known on 2019-12-31", ""},
	} {
		t.Run(rule, func(t *testing.T) {
			code, out, errs := said(t, append([]string{"claim", "--database", url}, c.args...)...)
			if code != c.code || !strings.Contains(out, c.out) || !strings.Contains(errs, c.errs) || len(errs) > 4000 {
				t.Errorf("got %d, %q, %q, want %d, %q, %q", code, out, errs, c.code, c.out, c.errs)
			}
		})
	}
	picture, err := os.ReadFile(svg)
	panels := strings.Count(string(picture), "<g transform")
	if err != nil || panels < 4 || strings.Count(string(picture), `class="here"`) != panels || strings.Contains(string(picture), "<script") {
		t.Errorf("got %d panels, %v, %s, want one of torque and angle a stage, each with the reading's own bar", panels, err, picture)
	}
}

func TestClaim_JSON(t *testing.T) {
	url, _ := years(t, 26_000)
	ask := func(args ...string) (out claim.Claim) {
		t.Helper()
		_, text, errs := said(t, append([]string{"claim", "--database", url, "--format", "json"}, args...)...)
		if err := json.Unmarshal([]byte(text), &out); err != nil {
			t.Fatalf("%v: %s %s", err, text, errs)
		}
		return out
	}
	c := ask("A100000", "--joint", "main-caps", "--fastener", "7")
	if len(c.Builds) == 0 || !c.Builds[0].Asked || len(c.Builds[0].Joints) < 5 || c.Builds[0].OpenedBy == "" {
		t.Fatalf("got %+v, want the build with its joints", c.Builds)
	}
	for _, b := range c.Story.Engines[0].Builds {
		for _, s := range b.Joints[0].Steps {
			if s.Fastener != "7" || len(s.Marks) == 0 || c.Story.Raw[s.Marks[0].Reading] == "" {
				t.Errorf("got %+v, want steps of fastener 7 with what the wrench sent", s)
			}
		}
	}
	for _, s := range c.Story.Standings {
		n := s.Picture.Under + s.Picture.Over
		for _, k := range s.Picture.Counts {
			n += k
		}
		if n != s.Of || s.Of < 1 || s.Rank <= 0 || s.Rank >= 1_000_000 {
			t.Errorf("got %+v, want a rank inside, and a picture of all readings", s)
		}
	}
	if len(c.Story.Standings) < 6 {
		t.Errorf("got %d standings, want torque and angle of three stages", len(c.Story.Standings))
	}
	then := ask("A100000", "--at", c.Builds[0].OpenedAt.Add(30*time.Minute).Format(time.RFC3339))
	if len(then.Builds) != 1 || len(then.Builds[0].Joints) >= len(c.Builds[0].Joints) || then.Builds[0].Joints[0].Complete {
		t.Errorf("got %+v, want a build that had only just begun", then.Builds)
	}
	if near := ask("A10000"); len(near.Found) == 0 || near.Builds == nil || len(near.Builds) != 0 || near.Likeness != store.BeginsSo {
		t.Errorf("got %+v, want near ones, and no build told as if it were the one", near)
	}
}

func TestWrenchAffected(t *testing.T) {
	url, _ := years(t, 3000)
	ask := func(code int, args ...string) (out affected.Wrench) {
		t.Helper()
		got, text, errs := said(t, append([]string{"wrench", "affected", "--database", url, "--format", "json"}, args...)...)
		if err := json.Unmarshal([]byte(text), &out); err != nil || got != code {
			t.Fatalf("got %d, %v: %.300s %s", got, err, text, errs)
		}
		return out
	}
	all := ask(exitOK, "TW-01")
	if all.Taken < 500 || len(all.Builds) < 1 || all.Since == nil || all.Until != nil || all.Turn != 0 || all.Found != "" {
		t.Errorf("got %d readings of %d builds from %v to %v, want those since the calibration", all.Taken, len(all.Builds), all.Since, all.Until)
	}
	if exact := ask(exitOK, "TW-01", "--found", "0 %@100 N·m"); exact.Turn != 0 || exact.Taken != all.Taken || exact.NotJudged != 0 {
		t.Errorf("got %d that turn of %d, want none with no deviation: the judging is that of the bench", exact.Turn, exact.Taken)
	}
	off := ask(exitAttention, "TW-01", "--found", "9 %@100 N·m")
	n := 0
	for _, b := range off.Builds {
		for _, r := range b.Turned {
			if n++; r.Was >= r.Shown || r.Verdict == r.Now {
				t.Errorf("got %+v, want a torque that was less, and another verdict", r)
			}
		}
	}
	if n != off.Turn || n < 50 {
		t.Errorf("got %d of %d, want many", n, off.Turn)
	}
	first, last := all.Builds[0].First, all.Builds[len(all.Builds)-1].Last
	if one := ask(exitOK, "TW-01", "--from", first.Format(time.RFC3339Nano), "--to", first.Format(time.RFC3339Nano)); one.Taken != 1 {
		t.Errorf("got %d readings at the very instant of the first, want it", one.Taken)
	}
	if none := ask(exitOK, "TW-01", "--from", last.Add(time.Microsecond).Format(time.RFC3339Nano)); none.Taken != 0 {
		t.Errorf("got %d readings after the last", none.Taken)
	}
	for rule, args := range map[string][]string{
		"no such wrench":      {"TW-99"},
		"a wrench of SQL":     {"'; DROP TABLE witnessmark.wrench; --"},
		"no percentage":       {"TW-01", "--found", "much"},
		"the wrong way round": {"TW-01", "--from", "2026-02-01", "--to", "2026-01-01"},
		"no date":             {"TW-01", "--from", "then"},
	} {
		if code, _, errs := said(t, append([]string{"wrench", "affected", "--database", url}, args...)...); code != exitInput || errs == "" {
			t.Errorf("%s: got %d, %q, want bad input and a sentence", rule, code, errs)
		}
	}
}

func TestAffected(t *testing.T) {
	url, _ := years(t, 3000)
	for rule, c := range map[string]struct {
		args []string
		code int
		want string
	}{
		"a lot":            {[]string{"--lot", "L-2020-0000"}, exitOK, "rod-caps"},
		"a lot of SQL":     {[]string{"--lot", "' OR 1=1 --"}, exitOK, "0 joints of 0 engines"},
		"a revision":       {[]string{"--procedure", "DL-12/1"}, exitOK, "DL-12 revision 1"},
		"another revision": {[]string{"--procedure", "DL-12/9"}, exitOK, "0 joints of 0 engines"},
		"a bench":          {[]string{"--bench", "2", "--from", "2020-01-06", "--to", "2020-01-06"}, exitOK, "main-caps"},
		"a day without":    {[]string{"--from", "2019-01-06", "--to", "2019-01-06"}, exitOK, "0 joints"},
		"nothing":          {nil, exitInput, "--lot"},
		"a zero byte":      {[]string{"--lot", "L\x00"}, exitInput, "zero byte"},
	} {
		code, out, errs := said(t, append([]string{"affected", "--database", url}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("%s: got %d, %.400q, %q, want %d, %q", rule, code, out, errs, c.code, c.want)
		}
	}
}
