package daemon

import (
	"fmt"
	"html"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var (
	// stamped is a moment as ISO 8601 and RFC 3339 have it, with its zone; the latter lets a blank stand for the T.
	stamped = regexp.MustCompile(`\b\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)`)
	// otherTime is a time of a day, or a day, in any other form.
	otherTime = regexp.MustCompile(`\b\d{1,2}:\d\d(:\d\d)?(?:Z|\b)(?i: ?[ap]m\b)?|\b\d{1,2}[./]\d{1,2}[./]\d{2,4}\b|(?i)\b(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.? \d{1,4}\b`)
	sent      = regexp.MustCompile(`(?s)<(code|pre|script|textarea)\b.*?</(code|pre|script|textarea)>`)
)

// undated are the times of a page that are in no ISO 8601 or without a zone, and how many are in order. What a wrench or a
// person sent stays as it came.
func undated(page string) (wrong []string, good int) {
	text := html.UnescapeString(tag.ReplaceAllString(sent.ReplaceAllString(page, " "), " "))
	good = len(stamped.FindAllString(text, -1))
	return otherTime.FindAllString(stamped.ReplaceAllString(text, "at"), -1), good
}

// The examples are those of RFC 3339, 5.8, as it has them and written otherwise.
func TestUndated(t *testing.T) {
	for page, want := range map[string][]string{
		"<b>1985-04-12T23:20:50.52Z</b>, 1996-12-19 16:39:57-08:00, 1985-04-12 23:20Z, due 1985-04-12": nil,
		"at 127.0.0.1:44123, 4 of 10, may 5 be":                                                        {"may 5"},
		"1985-04-12 23:20:50":                                                                          {"23:20:50"},
		"since 23:20:50Z":                                                                              {"23:20:50Z"},
		"11:20 pm":                                                                                     {"11:20 pm"},
		"12.4.1985 or 4/12/85":                                                                         {"12.4.1985", "4/12/85"},
		"April 12, 1985":                                                                               {"April 12"},
		"<code>Apr 12 1985</code><p>12 Apr 1985 </p>":                                                  {"Apr 1985"},
	} {
		if got, _ := undated(page); !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q", page, got, want)
		}
	}
}

func TestPages_DatesWithTheirZone(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, run, ada := classABuild(t, d, w)
	ada.want(303, "", "POST", "/wrenches/TW-01/found", url.Values{"certificate": {"C-2"}, "found": {"2026-06-01"}, "good": {"no"},
		"points": {"10 %@30 N·m"}, "own_password": {password}})
	committed(t, d)
	stamps := map[string]int{}
	for path, body := range everyPage(ada, build.ID, run) {
		wrong, good := undated(body)
		if stamps[path] = good; len(wrong) > 0 {
			t.Errorf("%s: got %q, want days and times as ISO 8601 has them, with the zone", path, wrong)
		}
	}
	for _, path := range []string{fmt.Sprintf("/builds/%d", build.ID), fmt.Sprintf("/builds/%d/joints/%d", build.ID, run), "/claims?q=E-4711&joint=caps&fastener=1", "/wrenches/TW-01", "/ledger"} {
		if stamps[path] == 0 {
			t.Errorf("%s: got no time at all, want some", path)
		}
	}
	if _, body := ada.do("GET", fmt.Sprintf("/builds/%d/joints/%d?stage=seat", build.ID, run), nil); strings.Count(body, "<time ") < 4 {
		t.Errorf("got %.2000q, want the time of each reading", body)
	}
}
