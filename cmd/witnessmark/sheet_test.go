package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The drawing of the real order holds every stage, and every fastener in each.
func TestHistory_SVG(t *testing.T) {
	url, _ := years(t, 4000)
	svg := filepath.Join(t.TempDir(), "order.svg")
	if code, _, errs := said(t, "history", "--database", url, "--engine", "A100000", "--joint", "main-caps", "--verdict", "low torque", "--svg", svg); code != exitOK {
		t.Fatalf("got %d, %q", code, errs)
	}
	text, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	stages := strings.Count(string(text), `class="title"`)
	if heads := strings.Count(string(text), `class="id"`); stages < 2 || heads%stages != 0 || strings.Count(string(text), "[7") < stages {
		t.Errorf("got %d heads in %d stages, want all fasteners in every stage", heads, stages)
	}
	for _, args := range [][]string{{"--joint", "attic"}, {}} {
		args = append([]string{"history", "--database", url, "--engine", "A100000", "--svg", svg}, args...)
		if code, _, errs := said(t, args...); code != exitInput || !strings.Contains(errs, "joint") {
			t.Errorf("%v: got %d, %q, want it refused", args, code, errs)
		}
	}
}

// The build sheet and the export of one build of a made-up history, as a person asks for them.
func TestSheetAndExport(t *testing.T) {
	url, data := years(t, 4000)
	dir := t.TempDir()
	pdf, table, book := filepath.Join(dir, "sheet.pdf"), filepath.Join(dir, "caps.csv"), filepath.Join(dir, "caps.xlsx")
	for _, c := range []struct {
		rule      string
		args      []string
		code      int
		out, errs string
	}{
		{"a sheet", []string{"sheet", "WO-000001", "-o", pdf}, exitOK, "", ""},
		{"it is not written over", []string{"sheet", "WO-000001", "-o", pdf}, exitAttention, "", "--force"},
		{"but by force, in another unit on other paper", []string{"sheet", "WO-000001", "-o", pdf, "--force", "--unit", "lbf·ft", "--paper", "letter"}, exitOK, "", ""},
		{"of what is not there", []string{"sheet", "WO-9", "-o", filepath.Join(dir, "x.pdf")}, exitInput, "", `no build "WO-9"`},
		{"in a unit that is none", []string{"sheet", "WO-000001", "-o", filepath.Join(dir, "x.pdf"), "--unit", "stone"}, exitInput, "", "stone"},
		{"signed by another key", []string{"sheet", "WO-000001", "-o", filepath.Join(dir, "x.pdf"), "--data", dir}, exitInput, "", "--key"},
		{"a table", []string{"export", "-o", table, "--build", "WO-000001", "--joint", "main-caps"}, exitOK, "readings written to caps.csv", ""},
		{"a workbook", []string{"export", "-o", book, "--format", "xlsx", "--build", "WO-000001", "--verdict", "pass", "--from", "2015-01-01"}, exitOK, "written to caps.xlsx", ""},
		{"it is not written over either", []string{"export", "-o", table}, exitAttention, "", "--force"},
		{"a verdict that is none", []string{"export", "-o", filepath.Join(dir, "x.csv"), "--verdict", "fine"}, exitInput, "", "there are: pass, low torque"},
		{"a date that is none", []string{"export", "-o", filepath.Join(dir, "x.csv"), "--from", "monday"}, exitInput, "", "write it like"},
		{"the wrong way round", []string{"export", "-o", filepath.Join(dir, "x.csv"), "--from", "2026-02-01", "--to", "2026-01-01"}, exitInput, "", "--from"},
	} {
		args := append([]string{c.args[0], "--database", url}, c.args[1:]...)
		if !strings.Contains(strings.Join(args, " "), "--data ") {
			args = append(args, "--data", data)
		}
		if code, out, errs := said(t, args...); code != c.code || !strings.Contains(out, c.out) || !strings.Contains(errs, c.errs) {
			t.Errorf("%s: got %d, %q, %q, want %d, %q, %q", c.rule, code, out, errs, c.code, c.out, c.errs)
		}
	}
	if text, err := os.ReadFile(pdf); err != nil || !bytes.HasPrefix(text, []byte("%PDF-")) {
		t.Errorf("got no PDF: %v", err)
	}
	text, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	if rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll(); err != nil || len(rows) < 20 || rows[1][8] != "main-caps" {
		t.Errorf("got %d rows, %v, want the readings of main-caps", len(rows), err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*x.*")); len(left) != 0 {
		t.Errorf("got %v, want nothing of what was refused", left)
	}
}
