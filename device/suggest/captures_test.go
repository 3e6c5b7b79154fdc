package suggest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/profile"
	"witnessmark/device/trial"
)

// TestPropose_Captures: from every capture of a built-in profile, and what the display would have shown of some of its
// readings, a profile is found that gives the same torque, angle and direction for all of them.
func TestPropose_Captures(t *testing.T) {
	files, err := filepath.Glob("../../testdata/captures/*.capture")
	if err != nil || len(files) == 0 {
		t.Fatalf("got %d captures, %v, want some", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			c := readCapture(t, file)
			name, _, _ := strings.Cut(c.Profile, " ")
			built, err := profile.Builtin(name)
			if err != nil {
				t.Fatal(err)
			}
			if built.Registers() != nil {
				t.Skip("registers are asked for by their numbers, which no capture tells")
			}
			want := readings(Proposal{Profile: built}, c)
			p, err := Propose(c, displayedOf(t, want), Asked{})
			if err != nil {
				t.Fatal(err)
			}
			if want := checkOf(t, name); !strings.Contains(p.YAML, want) {
				t.Errorf("got a profile without %q:\n%s", want, p.YAML)
			}
			got := readings(p, c)
			if missing := beside(got, want); missing != nil {
				t.Errorf("got\n%swant\n%s%s\n%s", measured(got), measured(want), p.YAML, strings.Join(p.Unsure, "\n"))
			}
			for _, r := range beside(want, got) {
				if strings.Contains(p.YAML, "\ncheck:") {
					continue // it came as it was sent, though the built-in profile knows that it is of another sort
				}
				if f, whole := refusedAs(built, c, r.Raw); !whole {
					t.Errorf("got a reading of %q, want it refused as the built-in one does: %s\n%s", r.Raw, f, p.YAML)
				}
			}
		})
	}
}

var checkLine = regexp.MustCompile(`(?m)^check: \{kind: ([^,}]+)`)

// checkOf is how a profile names the check of a built-in one; empty: that has none.
func checkOf(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile("../profile/builtin/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	m := checkLine.FindSubmatch(text)
	if m == nil || string(m[1]) == "none" {
		return ""
	}
	return "check: {kind: " + strings.Replace(string(m[1]), "lrc", "sum-negated", 1) // two names of one check
}

// beside gives those of some that are not among all, in the order of both.
func beside(all, some []device.Reading) (left []device.Reading) {
	n := 0
	for _, r := range some {
		k := n
		for k < len(all) && measured(all[k:k+1]) != measured([]device.Reading{r}) {
			k++
		}
		if k == len(all) {
			left = append(left, r)
			continue
		}
		n = k + 1
	}
	return left
}

// refusedAs is why the built-in profile refuses a frame that nothing guards; whole, that it does so for what stands in
// it: a capture cannot tell that the wrench never sends such a one.
func refusedAs(p *profile.Profile, c capture.Capture, raw []byte) (why string, whole bool) {
	trial.Play(p, c, func(f trial.Frame) {
		if r := f.Result.Refusal; r != nil && bytes.Contains(f.Bytes, bytes.Trim(raw, "\r\n")) {
			why, whole = r.Detail, r.Reason == device.ReasonForm || r.Reason == device.ReasonValue
		}
	}, func(time.Duration) {})
	return why, whole
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
		t.Fatal(err)
	}
	return c
}

// displayedOf is what a display would have shown of at most five readings: those that differ from the one before, and
// every one that loosens.
func displayedOf(t *testing.T, all []device.Reading) (shown []Shown) {
	t.Helper()
	last := ""
	for _, r := range all {
		text := fmt.Sprintf("%s %s", strings.TrimLeft(r.TorqueText, "+-"), r.Unit)
		if r.Angle != nil {
			text += ", " + strings.TrimLeft(r.Angle.String(), "-")
		}
		if r.Direction == device.Loosen {
			text += ", loosening"
		}
		if text != last && (len(shown) < 5 || r.Direction == device.Loosen) {
			shown = append(shown, displayed(t, text)...)
		}
		last = text
	}
	return shown
}

func measured(all []device.Reading) string {
	var b strings.Builder
	for _, r := range all {
		angle := "no angle"
		if r.Angle != nil {
			angle = r.Angle.String()
		}
		fmt.Fprintf(&b, "%s, %s, %s\n", r.Torque, angle, r.Direction)
	}
	return b.String()
}
