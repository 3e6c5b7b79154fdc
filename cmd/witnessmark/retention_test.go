package main

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/store"
)

func TestDue(t *testing.T) {
	day := func(year int) time.Time { return time.Date(year, 3, 1, 0, 0, 0, 0, time.UTC) }
	rules := []config.Retention{{Customer: "Rail", Units: "LOCO-", Years: 10}, {Customer: "Harbour", Orders: "H-", Years: 5}}
	for rule, c := range map[string]struct {
		worked []store.Worked
		want   string
	}{
		"all over":                          {[]store.Worked{{Person: "a", Unit: "LOCO-1", Last: day(2010)}}, "a"},
		"not yet":                           {[]store.Worked{{Person: "a", Unit: "LOCO-1", Last: day(2018)}}, ""},
		"to the day":                        {[]store.Worked{{Person: "a", Unit: "LOCO-1", Last: day(2017)}}, ""},
		"by the work order":                 {[]store.Worked{{Person: "a", WorkOrder: "H-7", Last: day(2020)}}, "a"},
		"no rule keeps":                     {[]store.Worked{{Person: "a", Unit: "BUS-1", Last: day(1990)}}, ""},
		"one kept build keeps the name":     {[]store.Worked{{Person: "a", Unit: "LOCO-1", Last: day(2010)}, {Person: "a", Unit: "BUS-1", Last: day(1990)}}, ""},
		"and nobody else's":                 {[]store.Worked{{Person: "a", Unit: "BUS-1", Last: day(2010)}, {Person: "b", Unit: "LOCO-1", Last: day(2010)}}, "b"},
		"the last of several builds counts": {[]store.Worked{{Person: "a", Unit: "LOCO-1", Last: day(2010)}, {Person: "a", Unit: "LOCO-1", Last: day(2026)}}, ""},
		"nobody":                            {nil, ""},
	} {
		var got []string
		for _, w := range due(c.worked, rules, day(2027)) {
			got = append(got, w.Person)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: got %q, want %q", rule, got, c.want)
		}
	}
}

func TestRetention(t *testing.T) {
	address, _ := years(t, 1500)
	text := strings.Replace(string(config.Example()), "id: north", "id: s1", 1) + "\nretention:\n  - {customer: all, units: \"%s\", years: 1}\n"
	for unit, want := range map[string]string{"no such": "0 names are due"} {
		file := write(t, "shop.yaml", strings.Replace(text, "%s", unit, 1))
		if code, out, errs := said(t, "retention", "--config", file, "--database", address); code != exitOK || !strings.Contains(out, want) {
			t.Errorf("units %s: got %d, %q, %q", unit, code, out, errs)
		}
	}
	file := write(t, "shop.yaml", strings.Replace(text, "units: \"%s\"", "work_orders: WO-", 1))
	code, out, errs := said(t, "retention", "--config", file, "--database", address)
	if code != exitOK || !strings.Contains(out, "worked last on 2020-01-") || !strings.Contains(out, "witnessmark person forget ") || strings.Contains(out, "\n0 names") {
		t.Errorf("every order: got %d, %q, %q, want the people named", code, out, errs)
	}
}

// What the configuration says of folder, database and shop counts for every command that takes one.
func TestCommands_AsTheConfigurationSays(t *testing.T) {
	address, data := years(t, 1500)
	at, err := pgx.ParseConfig(address)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(config.Example()), "# data: /var/lib/witnessmark", "data: "+data, 1)
	text = strings.Replace(text, "database: private", fmt.Sprintf("database: postgres://%s@/%s?host=%s&port=%d", at.User, at.Database, url.QueryEscape(at.Host), at.Port), 1)
	right := strings.Replace(text, "id: north", "id: s1", 1) + "\nretention:\n  - {customer: all, work_orders: WO-, years: 1}\n"
	file, another := write(t, "shop.yaml", right), write(t, "another.yaml", text)
	for _, step := range []struct {
		args string
		code int
		says string
	}{
		{"retention --config " + file, exitOK, "names are due to be blanked"},
		{"verify --config " + file, exitOK, "ok: shop s1, "},
		{"verify --config " + another, exitAttention, "no ledger of the shop north"},
		{"verify --shop s1 --config " + another, exitOK, "ok: shop s1, "},
		{"verify --database postgres://nobody@127.0.0.1:1/none?connect_timeout=5 --config " + file, exitAttention, "127.0.0.1"},
		{"verify --data " + t.TempDir() + " --config " + file, exitInput, "--key"},
	} {
		code, out, errs := said(t, strings.Fields(step.args)...)
		if code != step.code || !strings.Contains(out+errs, step.says) {
			t.Errorf("%s: got %d, %q, %q, want %d and %q", step.args, code, out, errs, step.code, step.says)
		}
	}
}
