package profile

import (
	"bytes"
	"encoding/json"
	"flag"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/frame"
)

var update = flag.Bool("update", false, "write the expected events of the captures anew; explain every change in the commit")

func captures(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/captures/*.capture")
	if err != nil || len(files) == 0 {
		t.Fatalf("got %d captures, %v, want some", len(files), err)
	}
	return files
}

func readCapture(t testing.TB, file string) capture.Capture {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}()
	c, err := capture.Read(f)
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return c
}

// play gives everything that becomes of a capture. Where step is not 0 the bytes come in pieces of that size instead
// of those in the files. The pauses of the capture count, and so does the one after its end.
func play(p *Profile, c capture.Capture, step int) (all []Result) {
	framer := p.NewFramer()
	take := func(f frame.Frame) { all = append(all, p.Decode(c.Wrench, f)) }
	last := time.Duration(0)
	for _, chunk := range c.Chunks {
		if gap := p.Gap(); gap > 0 && chunk.At-last >= gap {
			framer.Silence(take)
		}
		last = chunk.At
		if chunk.Gone {
			if tail, ok := framer.End(); ok {
				take(tail)
			}
			continue
		}
		for rest := chunk.Bytes; len(rest) > 0; {
			n := len(rest)
			if step > 0 {
				n = min(step, n)
			}
			framer.Push(rest[:n], take)
			rest = rest[n:]
		}
	}
	framer.Silence(take)
	if tail, ok := framer.End(); ok {
		take(tail)
	}
	return all
}

func eventLines(t testing.TB, all []Result) []byte {
	t.Helper()
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	for _, r := range all {
		if err := e.Encode(r); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

// Beside every capture stands what must become of it, one event a line.
func TestCaptures_DecodeToTheExpectedEvents(t *testing.T) {
	for _, file := range captures(t) {
		t.Run(filepath.Base(file), func(t *testing.T) {
			c := readCapture(t, file)
			name, version, _ := strings.Cut(c.Profile, " ")
			p, err := Builtin(name)
			if err != nil || p.Version != version {
				t.Fatalf("got %v, want the profile %s: no capture without its profile", err, c.Profile)
			}
			events := strings.TrimSuffix(file, ".capture") + ".jsonl"
			got := eventLines(t, play(p, c, 0))
			if *update {
				if err := os.WriteFile(events, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(events)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			if got := eventLines(t, play(p, c, 1)); !bytes.Equal(got, want) {
				t.Errorf("byte by byte: got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

// Every built-in profile has a quiet and a troubled capture. In the quiet one nothing is refused; the troubled ones show
// together every reason for which a frame is refused, but for that of a stranger, which no profile can know.
func TestCaptures_LeaveNothingOut(t *testing.T) {
	recorded, refused := map[string]bool{}, map[string]bool{device.ReasonStranger: true}
	all := builtins(t)
	for _, file := range captures(t) {
		c := readCapture(t, file)
		name, _, _ := strings.Cut(c.Profile, " ")
		recorded[filepath.Base(file)] = true
		for _, r := range play(all[name], c, 0) {
			if r.Refusal != nil && strings.HasSuffix(file, "-quiet.capture") {
				t.Errorf("%s: got %+v, want nothing refused", filepath.Base(file), r.Refusal)
			}
			if r.Refusal != nil {
				refused[r.Refusal.Reason] = true
			}
		}
	}
	for name := range all {
		for _, kind := range []string{"quiet", "troubled"} {
			if file := name + "-" + kind + ".capture"; !recorded[file] {
				t.Errorf("got no %s, want one", file)
			}
		}
	}
	for _, reason := range device.Reasons() {
		if !refused[reason] {
			t.Errorf("no capture shows a frame refused as %q, want one", reason)
		}
	}
}

// A profile must not take another wrench's lines for its own.
func TestCaptures_NoOtherProfileAccepts(t *testing.T) {
	rows := "  lead: \"#\"\n  separator: \";\"\n  list: [{kind: counter}, {kind: torque, unit: N·m}, {kind: unread}, {kind: unread}, " +
		"{kind: direction, tighten: R, loosen: L}, {kind: clock}, {kind: tag, optional: true}]\n"
	others := map[string]*Profile{
		"a sum":           form(t, "{kind: sum, over: inside, mark: \"*\"}", rows),
		"another span":    form(t, "{kind: xor, over: line, mark: \"*\"}", rows),
		"another mark":    form(t, "{kind: xor, over: inside, mark: \"*\"}", strings.Replace(rows, "lead: \"#\"", "lead: \"$\"", 1)),
		"fewer fields":    form(t, "{kind: none}", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}, {kind: angle}]\n"),
		"fields by comma": form(t, "{kind: none}", strings.Replace(rows, `separator: ";"`, `separator: ","`, 1)),
	}
	maps.Copy(others, builtins(t))
	for _, file := range captures(t) {
		c := readCapture(t, file)
		for name, p := range others {
			if p.Name+" "+p.Version == c.Profile {
				continue
			}
			for _, r := range play(p, c, 0) {
				if r.Reading != nil {
					t.Errorf("%s: the profile with %s accepted %q", filepath.Base(file), name, r.Reading.Raw)
				}
			}
		}
	}
}
