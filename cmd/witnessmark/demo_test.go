package main

import "testing"

func TestDemo_TellsHowItIsStartedAgain(t *testing.T) {
	for program, want := range map[string]string{
		"witnessmark":          "witnessmark",
		"/opt/bin/witnessmark": "/opt/bin/witnessmark",
		"/var/tmp/go-build2841/b001/exe/witnessmark": "go run ./cmd/witnessmark",
	} {
		if got := started(program); got != want {
			t.Errorf("started as %s: got %q, want %q", program, got, want)
		}
	}
}
