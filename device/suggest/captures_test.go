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
			if built.Registers() != nil { // they are asked for by their numbers, which no capture tells
				return
			}
			want := readings(Proposal{Profile: built}, c)
			p, err := Propose(c, displayedOf(t, want), Asked{})
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range guardOf(t, name) {
				if !strings.Contains(p.YAML, want) {
					t.Errorf("got a profile without %q:\n%s", want, p.YAML)
				}
			}
			got := readings(p, c)
			if missing := beside(got, want); missing != nil {
				t.Errorf("got\n%swant\n%s%s\n%s", measured(got), measured(want), p.YAML, strings.Join(p.Unsure, "\n"))
			}
			for _, r := range beside(want, got) {
				guarded := strings.Contains(p.YAML, "\ncheck:")
				if why, wrong := noReading(built, c, r.Raw, guarded); wrong {
					t.Errorf("got a reading of %q, want none as of the built-in profile: %s\n%s", r.Raw, why, p.YAML)
				}
			}
		})
	}
}

var checkLine = regexp.MustCompile(`(?m)^check: \{kind: ([^,}]+)`)

// guardOf is what a profile says as a built-in one does: its check, and that frames tell their length.
func guardOf(t *testing.T, name string) (says []string) {
	t.Helper()
	text, err := os.ReadFile("../profile/builtin/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	if m := checkLine.FindSubmatch(text); m != nil && string(m[1]) != "none" {
		says = append(says, "check: {kind: "+strings.Replace(string(m[1]), "lrc", "sum-negated", 1)) // two names of one check
	}
	if strings.Contains(string(text), "length: {at:") {
		says = append(says, "length: {at:")
	}
	return says
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

// noReading is why the built-in profile makes no reading of a frame, and whether nobody else may: because it is one that it
// ignores, or one that is broken and that nothing guards. What is refused for what stands in it may be taken for a
// reading, for a capture cannot tell that the wrench never sends such a one; so may a guarded frame that was found where
// the built-in profile found none, such as in two that were merged.
func noReading(p *profile.Profile, c capture.Capture, raw []byte, guarded bool) (why string, wrong bool) {
	why, wrong = "it found none there", !guarded
	trial.Play(p, c, func(f trial.Frame) {
		r := f.Result
		switch {
		case !bytes.Contains(f.Bytes, bytes.Trim(raw, "\r\n")):
		case r.Ignored:
			why, wrong = "it ignores it", true
		case r.Refusal != nil:
			why, wrong = r.Refusal.Detail, !guarded && r.Refusal.Reason != device.ReasonForm && r.Refusal.Reason != device.ReasonValue
		}
	}, func(time.Duration) {})
	return why, wrong
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
