package profile

import (
	"os"
	"strings"
	"testing"

	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// The guide is held to its word: its profile loads and reads the line that its manual page draws, and it names every
// form that ships and no other.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	guide := string(text)
	_, rest, _ := strings.Cut(guide, "```yaml\n")
	example, _, found := strings.Cut(rest, "```")
	if !found {
		t.Fatal("got no profile in the guide")
	}
	p, err := Parse("README.md", []byte(example))
	if err != nil {
		t.Fatal(err)
	}
	r := p.Decode("TW-07", frame.Frame{Bytes: []byte("T  45.2,   31,R\r\n")}).Reading
	if r == nil || r.Torque != 45_200*unit.NewtonMetre/1000 || r.Angle == nil || *r.Angle != 31*unit.Degree {
		t.Errorf("got %+v of the line that the manual page draws, want 45.2 N·m and 31°", r)
	}
	table, _, _ := strings.Cut(guide[strings.Index(guide, "| name | what comes"):], "\n\n")
	for _, name := range BuiltinNames() {
		if !strings.Contains(table, "| `"+name+"` |") {
			t.Errorf("the guide does not name the form %s", name)
		}
	}
	if got, want := strings.Count(table, "\n| `"), len(BuiltinNames()); got != want {
		t.Errorf("got %d forms in the guide, want %d", got, want)
	}
}
