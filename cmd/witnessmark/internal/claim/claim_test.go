package claim

import (
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/store"
)

func at(day int) time.Time { return time.Date(2026, 3, day, 8, 0, 0, 0, time.UTC) }

func act(day int, by string) store.Act { return store.Act{Seq: uint64(day), At: at(day), By: by} }

// told is the answer about one build that people signed for in some ways.
func told(t *testing.T, b store.BuildHistory) (Build, string) {
	t.Helper()
	b.ID, b.At = 4, at(1)
	c := New("E-1", []store.Candidate{{Build: 4, Engine: "E-1", Field: "engine", Likeness: store.AsWritten}})
	c.Add(&store.History{Engine: "E-1", Builds: []store.BuildHistory{b}}, &sheet.Engine{Engine: "E-1", Builds: []sheet.Build{{Build: 4, By: "Ada Holt", At: at(1)}}})
	var text strings.Builder
	if err := c.Text(&text); err != nil {
		t.Fatal(err)
	}
	return c.Builds[0], text.String()
}

func TestClaim_WhoSigned(t *testing.T) {
	release := func(day int, by string) store.ReleaseHistory {
		return store.ReleaseHistory{Act: act(day, by), BuildReleased: audit.BuildReleased{Size: 77}}
	}
	reopening := store.ReopeningHistory{Act: act(5, "Odo Brandt"), BuildReopened: audit.BuildReopened{Reason: "a bolt broke"}}
	for rule, c := range map[string]struct {
		build    store.BuildHistory
		released bool
		want     []string
	}{
		"nobody": {store.BuildHistory{}, false, []string{"not released"}},
		"a release": {store.BuildHistory{Releases: []store.ReleaseHistory{release(3, "Ines Falk")}}, true,
			[]string{"released 2026-03-03 08:00:00Z by Ines Falk (signing the ledger of 77 leaves)"}},
		"a name that was blanked": {store.BuildHistory{Releases: []store.ReleaseHistory{release(3, "")}}, true, []string{"by (name blanked)"}},
		"taken back": {store.BuildHistory{Releases: []store.ReleaseHistory{release(3, "Ines Falk")}, Reopenings: []store.ReopeningHistory{reopening}}, false,
			[]string{"reopened 2026-03-05 08:00:00Z by Odo Brandt (a bolt broke)", "not released"}},
		"and released again": {store.BuildHistory{Releases: []store.ReleaseHistory{release(3, "Ines Falk"), release(7, "Ines Falk")}, Reopenings: []store.ReopeningHistory{reopening}}, true, nil},
		"a concession and a correction": {store.BuildHistory{
			Concessions: []store.ConcessionHistory{{Act: act(6, "Ines Falk"), SecondedBy: "Odo Brandt",
				ConcessionGranted: audit.ConcessionGranted{Found: "stage snug is open", Reason: "seen", Seconded: "cd34"}}},
			Corrections: []store.CorrectionHistory{{Act: act(4, "Ada Holt"), CorrectionMade: audit.CorrectionMade{Reading: 12, Reason: "test block"}}},
		}, false, []string{"conceded 2026-03-06 08:00:00Z by Ines Falk (stage snug is open: seen, seconded by Odo Brandt)",
			"corrected 2026-03-04 08:00:00Z by Ada Holt (reading 12 was none of the joint: test block)"}},
	} {
		b, text := told(t, c.build)
		if b.Released != c.released {
			t.Errorf("%s: got released %v", rule, b.Released)
		}
		for _, want := range c.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: got %s\nwant %q in it", rule, text, want)
			}
		}
		for i := 1; i < len(b.Acts); i++ {
			if b.Acts[i].Entry < b.Acts[i-1].Entry {
				t.Errorf("%s: got %+v, want them in order", rule, b.Acts)
			}
		}
	}
}

// A joint is told as the history tells it: a verification that is still open, and complete only where it was released so.
func TestClaim_HowAJointStands(t *testing.T) {
	for want, j := range map[string]sheet.Joint{
		"NOT COMPLETE\n":    {State: sheet.NotComplete, ToVerify: 2},
		"every step done\n": {State: sheet.StepsDone, Complete: true},
		"every step done, verification is still open\n": {State: sheet.StepsDone, Complete: true, ToVerify: 2},
		"complete\n": {State: sheet.Complete, Complete: true},
	} {
		c := New("E-1", []store.Candidate{{Build: 4, Engine: "E-1", Field: "engine", Likeness: store.AsWritten}})
		j.Joint, j.By, j.Bench = "caps", "Ada Holt", "1"
		c.Add(&store.History{Engine: "E-1", Builds: []store.BuildHistory{{ID: 4}}}, &sheet.Engine{Engine: "E-1", Builds: []sheet.Build{{Build: 4, Joints: []sheet.Joint{j}}}})
		var text strings.Builder
		if err := c.Text(&text); err != nil || !strings.Contains(text.String(), "still on the bench  "+want) {
			t.Errorf("got %v, %s\nwant %q", err, text.String(), want)
		}
		if got := c.Builds[0].Joints[0]; got.State != j.State || got.ToVerify != j.ToVerify {
			t.Errorf("got %+v, want it for programs too", got)
		}
	}
}

func TestDate(t *testing.T) {
	for text, want := range map[string]string{
		"2026-03-31":                "2026-03-31T23:59:59.999999Z",
		"2024-02-29":                "2024-02-29T23:59:59.999999Z",
		"2026-03-31T14:00:00+02:00": "2026-03-31T12:00:00Z",
	} {
		if got, err := Date(text); err != nil || got.UTC().Format(time.RFC3339Nano) != want {
			t.Errorf("%s: got %v, %v, want %s", text, got, err, want)
		}
	}
	for _, text := range []string{"", "31.3.2026", "2026-02-30", "'; --"} {
		if got, err := Date(text); err == nil {
			t.Errorf("%q: got %v, want an error", text, got)
		}
	}
}
