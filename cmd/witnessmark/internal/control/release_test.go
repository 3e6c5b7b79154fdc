package control

import (
	"context"
	"errors"
	"net/http"
	"reflect"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// of remembers what was asked of a build.
type of struct {
	build uint64
	what  any
}

func (d *desk) Review(build uint64) (bench.Review, error) {
	if build != 4 {
		return bench.Review{}, Unknown("no build")
	}
	return bench.Review{Build: 4, Engine: "E1", Standing: bench.Reopened, Findings: []bench.Finding{{ID: "unsure:7", Blocks: true}}}, nil
}

func (d *desk) Concede(_ context.Context, build uint64, in Concede) (bench.Review, error) {
	d.ask(of{build, in})
	return d.Review(build)
}

func (d *desk) Release(_ context.Context, build uint64, in Release) (bench.Review, error) {
	d.ask(of{build, in})
	return d.Review(build)
}

func (d *desk) Reopen(_ context.Context, build uint64, in Reopen) (bench.Review, error) {
	d.ask(of{build, in})
	return d.Review(build)
}

func (d *desk) Correct(_ context.Context, in Correct) (Corrected, error) {
	d.ask(in)
	return Corrected{Build: 4, Marks: []audit.Mark{{Reading: in.Reading, Flags: []string{}}}}, nil
}

func TestControl_ReleaseRoundTrip(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	review, _ := d.Review(4)
	for name, tc := range map[string]struct {
		call func() (any, error)
		in   any // what the desk must have been asked; nil: nothing
		out  any
	}{
		"review": {func() (any, error) { return c.Review(t.Context(), 4) }, nil, review},
		"concede": {func() (any, error) {
			return c.Concede(t.Context(), 4, Concede{Finding: "step:caps/seat/7", Reason: "seen", Person: "Ada Holt", Second: "Bo Lind"})
		}, of{4, Concede{Finding: "step:caps/seat/7", Reason: "seen", Person: "Ada Holt", Second: "Bo Lind"}}, review},
		"release": {func() (any, error) { return c.Release(t.Context(), 4, Release{Reviewed: 9, Person: "Ada Holt"}) },
			of{4, Release{Reviewed: 9, Person: "Ada Holt"}}, review},
		"reopen": {func() (any, error) { return c.Reopen(t.Context(), 4, Reopen{Reason: "asked", Person: "Ada Holt"}) },
			of{4, Reopen{Reason: "asked", Person: "Ada Holt"}}, review},
		"correct": {func() (any, error) {
			return c.Correct(t.Context(), Correct{Reading: 7, Fastener: "3", Stage: "seat", Reason: "seen", Person: "Ada Holt"})
		}, Correct{Reading: 7, Fastener: "3", Stage: "seat", Reason: "seen", Person: "Ada Holt"},
			Corrected{Build: 4, Marks: []audit.Mark{{Reading: 7, Flags: []string{}}}}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := tc.call()
			if err != nil || !reflect.DeepEqual(got, tc.out) || tc.in != nil && !reflect.DeepEqual(d.last(), tc.in) {
				t.Errorf("got %+v for %+v, %v, want %+v for %+v", got, d.last(), err, tc.out, tc.in)
			}
		})
	}
	t.Run("a build that does not exist is a 404", func(t *testing.T) {
		var e *Error
		if _, err := c.Review(t.Context(), 5); !errors.As(err, &e) || e.Status != 404 {
			t.Errorf("got %v, want 404", err)
		}
		_, err := c.send(t.Context(), http.MethodGet, "builds/x/review", nil)
		if !errors.As(err, &e) || e.Status != 404 || !strings.Contains(e.Sentence, "builds have numbers") {
			t.Errorf("got %v, want 404 with a sentence", err)
		}
	})
}
