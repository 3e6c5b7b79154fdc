package web

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/store"
)

// stepped is a clock that can be set.
type stepped struct{ by time.Duration }

func (s *stepped) now() time.Time { return time.Now().Add(s.by) }

// A clock that is set signs nobody in for longer than a day more, and whoever has to sign in again stays so.
func TestKept_ClockSteps(t *testing.T) {
	const year = 365 * 24 * time.Hour
	away := store.NewAccounts("s1", func(context.Context) (string, error) { return "", errors.New("away") })
	for _, tc := range []struct {
		rule      string
		from, to  time.Duration // what the clock is wrong by, when they sign in and later
		stillHere bool
	}{
		{"an hour forward", 0, time.Hour, true},
		{"an hour back", 0, -time.Hour, true},
		{"a shift forward", 0, idleFor, false},
		{"a year forward", 0, year, false},
		{"a year back", 0, -year, false},
		{"a year ahead, put right", year, 0, false},
		{"a year behind, put right", -year, 0, false},
	} {
		clock := &stepped{by: tc.from}
		k := newKept(away, clock.now, zerolog.Nop())
		signIn := func(key string) {
			data, err := k.codec.Encode(time.Now().Add(lastFor), map[string]any{sessionPerson: "p1"})
			if err != nil {
				t.Fatal(err)
			}
			if err := k.CommitCtx(t.Context(), key, data, time.Now().Add(idleFor)); err != nil {
				t.Fatal(err)
			}
		}
		here := func(key string) bool {
			_, found, err := k.FindCtx(t.Context(), key)
			if err != nil {
				t.Fatal(err)
			}
			return found
		}
		signIn("first")
		if !here("first") {
			t.Errorf("%s: got nobody signed in before it", tc.rule)
		}
		clock.by = tc.to
		if got := here("first"); got != tc.stillHere {
			t.Errorf("%s: got signed in: %v, want %v", tc.rule, got, tc.stillHere)
		}
		signIn("second")
		if clock.by += idleFor / 2; !here("second") {
			t.Errorf("%s: got thrown out again", tc.rule)
		}
		if clock.by += idleFor; here("second") {
			t.Errorf("%s: got signed in after a shift without a touch", tc.rule)
		}
	}
}

func TestActive_ClockSteps(t *testing.T) {
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	for rule, tc := range map[string]struct {
		last, said time.Time
		want       bool
	}{
		"a moment ago":                         {now.Add(-time.Second), now.Add(-time.Second), true},
		"too long ago":                         {now.Add(-pinIdle), now.Add(-pinIdle), false},
		"this process knows better":            {now.Add(-time.Second), now.Add(time.Hour), true},
		"… and idle, the clock set back since": {now.Add(-pinIdle), now.Add(time.Hour), false},
		"after a restart, a moment ago":        {time.Time{}, now.Add(-time.Second), true},
		"after a restart, the clock set back":  {time.Time{}, now.Add(time.Hour), false},
	} {
		if got := active(now, tc.last, tc.said); got != tc.want {
			t.Errorf("%s: got %v, want %v", rule, got, tc.want)
		}
	}
}
