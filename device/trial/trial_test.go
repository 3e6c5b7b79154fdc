package trial

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"witnessmark/device/capture"
	"witnessmark/device/profile"
)

const head = `format: witnessmark/wrench/1
name: trial
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
`

const fields = `
fields:
  separator: ";"
  list:
    - {name: torque, kind: torque, unit: N·m}
    - {name: count, kind: counter}
ignore: ["!"]
`

func parse(t *testing.T, frame string) *profile.Profile {
	t.Helper()
	p, err := profile.Parse("trial.yaml", []byte(head+frame+fields))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

func told(into *[]string) func(Frame) {
	return func(f Frame) {
		what := "ignored"
		switch r := f.Result; {
		case r.Reading != nil:
			what = r.Reading.Torque.String()
		case r.Refusal != nil:
			what = r.Refusal.Reason
		}
		*into = append(*into, fmt.Sprintf("%d %q %s", f.At.Milliseconds(), f.Bytes, what))
	}
}

func TestPlay(t *testing.T) {
	for name, c := range map[string]struct {
		frame  string
		chunks []capture.Chunk
		want   []string
	}{
		"a frame has the time of its last byte": {"frame: {end: LF, max: 40}",
			[]capture.Chunk{{At: ms(5), Bytes: []byte("30.4")}, {At: ms(9), Bytes: []byte(";1\n!on\n45.2;2\n")}},
			[]string{`9 "30.4;1\n" 30.4 N·m`, `9 "!on\n" ignored`, `9 "45.2;2\n" 45.2 N·m`}},
		"a port that goes away tears a frame, and the next one is whole": {"frame: {end: LF, max: 40}",
			[]capture.Chunk{{At: ms(5), Bytes: []byte("30.4;")}, {At: ms(700), Gone: true}, {At: ms(900), Bytes: []byte("45.2;2\n")}},
			[]string{`5 "30.4;" torn`, "gone 700", `900 "45.2;2\n" 45.2 N·m`}},
		"what was begun when the capture ends is torn": {"frame: {end: LF, max: 40}",
			[]capture.Chunk{{At: ms(5), Bytes: []byte("30.4;")}}, []string{`5 "30.4;" torn`}},
		"a silence ends a frame, a shorter one does not, and the last is ended too": {"frame: {gap: 40 ms, max: 40}",
			[]capture.Chunk{{At: ms(0), Bytes: []byte("30.")}, {At: ms(39), Bytes: []byte("4;1")}, {At: ms(79), Bytes: []byte("45.2;2")}, {At: ms(500), Gone: true}, {At: ms(600), Bytes: []byte("60.1;3")}},
			[]string{`39 "30.4;1" 30.4 N·m`, `79 "45.2;2" 45.2 N·m`, "gone 500", `600 "60.1;3" 60.1 N·m`}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			Play(parse(t, c.frame), capture.Capture{Chunks: c.chunks}, told(&got), func(at time.Duration) {
				got = append(got, fmt.Sprintf("gone %d", at.Milliseconds()))
			})
			if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		})
	}
}

func TestTrial_Silent(t *testing.T) {
	var got []string
	one := New(parse(t, "frame: {gap: 40 ms, max: 40}"), "TW-01", told(&got))
	one.Took(ms(0), []byte("30.4;1"))
	one.Silent(ms(39))
	if len(got) != 0 {
		t.Errorf("got %q, want nothing before the gap is over", got)
	}
	one.Silent(ms(40))
	one.Silent(ms(90))
	if len(got) != 1 || !strings.Contains(got[0], "30.4 N·m") {
		t.Errorf("got %q, want the frame once", got)
	}
}
