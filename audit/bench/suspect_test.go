package bench_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
)

// foundBad records that the wrench showed a tenth too much at a calibration two days after everything.
func (f *floor) foundBad() audit.CalibrationFound {
	return audit.CalibrationFound{Wrench: "W1", Certificate: "K-2", Found: start.Add(48 * time.Hour), Points: "10 %@40 N·m", Person: "p1"}
}

// IATF 16949, 7.1.5.2.1 (from memory): what was made with an instrument that is found bad later is looked at again.
func TestReview_AWrenchThatWasFoundBad(t *testing.T) {
	f := finished(t)
	if got := f.review(); len(got) != 0 || f.shop.InDoubt(4) != "" {
		t.Fatalf("got %q in the way, in doubt %q, want nothing", got, f.shop.InDoubt(4))
	}
	reviewed := f.release()
	f.must(f.foundBad())
	const id = "found-bad:caps/W1"
	if got := f.review(); !slices.Equal(got, []string{id}) {
		t.Fatalf("got %q in the way, want %s", got, id)
	}
	// 60.0 N·m shown are 54.55 N·m where the wrench shows a tenth too much; 30.0 are 27.27, and 27 … 33 are asked for.
	for _, want := range []string{"found bad by certificate K-2", "stage snug, fastener 1, 2, 3, 4; stage seat, fastener 1, 2, 3, 4", "stage seat, fastener 1 was 54.55 N·m: low torque"} {
		if got := f.finding(id).Text; !strings.Contains(got, want) || strings.Contains(got, "stage snug, fastener 1 was") {
			t.Errorf("got %q, want %q in it", got, want)
		}
	}
	f.refused(reviewed, "wrench W1 was found bad")
	t.Run("conceded it may be released, and is not in doubt", func(t *testing.T) {
		f.must(f.shop.Conceding(concession(id)))
		f.must(f.release())
		if got := f.shop.InDoubt(4); got != "" {
			t.Errorf("got %q, want nothing said of what was conceded", got)
		}
	})
	f.replaysFromText()
}

func TestReview_FoundBadAfterTheRelease(t *testing.T) {
	f := finished(t)
	f.must(f.release())
	f.must(f.foundBad())
	if got := f.shop.InDoubt(4); got != "1 joint rests on a wrench that was found bad" {
		t.Errorf("got %q, want the released build in doubt", got)
	}
	if got := f.review(); !slices.Equal(got, []string{"found-bad:caps/W1"}) {
		t.Errorf("got %q in the review, want the wrench", got)
	}
	t.Run("the newest word on the certificate holds", func(t *testing.T) {
		good := f.foundBad()
		good.Good, good.Points = true, ""
		f.must(good)
		if got := f.shop.InDoubt(4); got != "" || len(f.review()) != 0 {
			t.Errorf("got %q, want no doubt", got)
		}
	})
	f.replaysFromText()
}

func TestReview_FoundBadOutsideTheSpan(t *testing.T) {
	for name, c := range map[string]struct {
		good, bad time.Time
		doubt     bool
	}{
		"a good calibration after the pulls, then a bad one":  {start.Add(24 * time.Hour), start.Add(48 * time.Hour), false},
		"a good calibration before the pulls, then a bad one": {start.Add(-24 * time.Hour), start.Add(48 * time.Hour), true},
		"bad before the pulls, and good since":                {start.Add(-24 * time.Hour), start.Add(-48 * time.Hour), false},
	} {
		f := finished(t)
		f.must(audit.WrenchDeclared{Wrench: "W1", Certificate: "K-1", Calibrated: &c.good})
		f.must(audit.CalibrationFound{Wrench: "W1", Certificate: "K-2", Found: c.bad, Person: "p1"})
		if got := f.shop.InDoubt(4) != ""; got != c.doubt || c.doubt != (len(f.review()) > 0) {
			t.Errorf("%s: in doubt %v, in the way %q, want %v", name, got, f.review(), c.doubt)
		}
	}
}

// A second pull with a good wrench that passes says that the torque is there; what was turned back counts no more.
func TestReview_FoundBadAndDoneAgain(t *testing.T) {
	f := finished(t)
	f.must(audit.CalibrationFound{Wrench: "W1", Certificate: "K-2", Found: start.Add(-time.Hour), Person: "p1"})
	f.must(audit.WrenchDeclared{Wrench: "W-B2"})
	f.startAgain("B2", "p1", true)
	f.must(audit.CheckAnswered{Bench: "B2", Run: f.shop.Run("B2"), Check: "new-bolts", Yes: true, Person: "p1"})
	for i := range int64(4) {
		f.at("B2", 30_000+i*100, 25_500+i*150)
	}
	f.must(audit.CheckAnswered{Bench: "B2", Run: f.shop.Run("B2"), Check: "end-float", Value: "0.12 mm", Person: "p1"})
	f.seatAll("B2", 4)
	f.must(audit.JointClosed{Bench: "B2", Run: f.shop.Run("B2"), Person: "p1"})
	if got := f.review(); len(got) != 0 || f.shop.InDoubt(4) != "" {
		t.Errorf("got %q in the way, want nothing: all was done again with another wrench", got)
	}
}
