package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/wrenchsim/past"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

func TestMain(m *testing.M) { os.Exit(clustertest.Main(m)) }

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
	url, _ := years(t, 4000)
	svg := filepath.Join(t.TempDir(), "a.svg")
	for rule, c := range map[string]struct {
		args      []string
		code      int
		out, errs string
	}{
		"a serial":             {[]string{"A100000"}, exitOK, "Engine A100000, build ", ""},
		"a work order":         {[]string{"WO-000001"}, exitOK, "work order WO-000001", ""},
		"written otherwise":    {[]string{"a1o0-000"}, exitOK, "a1o0-000 is written otherwise here: A100000", ""},
		"mistyped":             {[]string{"A10000O0"}, exitAttention, "Like it (one character is wrong", ""},
		"mistyped VIN":         {[]string{"1WM5DL003LS000000"}, exitAttention, "the check digit of the VIN is wrong", ""},
		"unknown":              {[]string{"nothing-like-it"}, exitAttention, "Nothing in this shop is known by nothing-like-it, and nothing like it.", ""},
		"SQL":                  {[]string{"'; DROP TABLE witnessmark.build; --"}, exitAttention, "nothing like it", ""},
		"a zero byte":          {[]string{"A1\x00"}, exitInput, "", "no characters"},
		"huge":                 {[]string{strings.Repeat("A", 100_000)}, exitInput, "", "80 at most"},
		"a fastener":           {[]string{"A100000", "--joint", "rod-caps", "--fastener", "3", "--svg", svg}, exitOK, "at percentile ", ""},
		"what the wrench sent": {[]string{"A100000", "--joint", "rod-caps", "--fastener", "3"}, exitOK, `\r\n`, ""},
		"a joint":              {[]string{"A100000", "--joint", "pan"}, exitOK, "The story of joint pan", ""},
		"no such joint":        {[]string{"A100000", "--joint", "'; --"}, exitInput, "", "it has: front-cover, head-1"},
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
	if err != nil || strings.Count(string(picture), `class="here"`) != 4 || strings.Contains(string(picture), "<script") {
		t.Errorf("got %s, %v, want four panels, each with the reading's own bar", picture, err)
	}
}

func TestClaim_JSON(t *testing.T) {
	url, _ := years(t, 4000)
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
