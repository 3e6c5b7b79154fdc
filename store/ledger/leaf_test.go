package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
)

var noon = time.Date(2026, 3, 2, 13, 0, 0, 0, time.FixedZone("", 3600))

// RFC 8785 appendix B (from memory, checked against two implementations).
func TestCanonical_Numbers(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000001: "-5e-324", 0x7fefffffffffffff: "1.7976931348623157e+308",
		0xffefffffffffffff: "-1.7976931348623157e+308", 0x4340000000000000: "9007199254740992",
		0x4430000000000000: "295147905179352830000", 0x44b52d02c7e14af6: "1e+23", 0x444b1ae4d6e2ef4f: "999999999999999900000",
		0x444b1ae4d6e2ef50: "1e+21", 0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555555: "333333333.3333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		if got, err := jcs.NumberToJSON(math.Float64frombits(bits)); err != nil || got != want {
			t.Errorf("%016x: got %s, %v, want %s", bits, got, err, want)
		}
	}
	for _, bits := range []uint64{0x7fffffffffffffff, 0x7ff0000000000000} {
		if got, err := jcs.NumberToJSON(math.Float64frombits(bits)); err == nil {
			t.Errorf("%016x: got %s, want an error", bits, got)
		}
	}
}

// The document vectors of RFC 8785 as they stand in the test folder of Go module github.com/gowebpki/jcs v1.0.2.
func TestCanonical_Documents(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-m", "-f", "{{.Dir}}", "github.com/gowebpki/jcs").Output()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	for _, name := range []string{"arrays", "french", "structures", "unicode", "values", "weird", "true", "false", "null", "simpleString"} {
		input := read(t, filepath.Join(dir, "input", name+".json"))
		want := strings.TrimRight(string(read(t, filepath.Join(dir, "output", name+".json"))), "\n")
		got, err := jcs.Transform(input)
		if err != nil || string(got) != want {
			t.Errorf("%s: got %q, %v, want %q", name, got, err, want)
		}
		if name == "values" {
			sum := sha256.Sum256(got)
			const want = "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
			if got := hex.EncodeToString(sum[:]); got != want {
				t.Errorf("values: got SHA-256 %s, want %s", got, want)
			}
		}
	}
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Keys are ordered by UTF-16 code unit (RFC 8785, 3.2.3): the surrogates of a smiley come before U+FB33.
func TestLeaf_KeyOrder(t *testing.T) {
	leaf, err := Leaf("x", 1, noon, "", struct {
		Letter string `json:"דּ"`
		Smiley string `json:"😂"`
	}{"b", "a"})
	want := "{\"at\":\"2026-03-02T12:00:00.000000Z\",\"kind\":\"x\",\"seq\":\"1\",\"\U0001f602\":\"a\",\"\ufb33\":\"b\"}"
	if err != nil || string(leaf) != want {
		t.Errorf("got %s, %v, want %s", leaf, err, want)
	}
}

func TestLeaf_Reading(t *testing.T) {
	angle, counter := 90*unit.Degree+500, int64(math.MaxInt64)
	leaf, err := Leaf("reading", math.MaxUint64, noon, "", audit.ReadingTaken{Bench: "b1", Reading: device.Reading{
		Wrench: "w1", Torque: 45*unit.NewtonMetre + 200_000, TorqueText: "45.2", Unit: unit.Nm, Angle: &angle,
		Direction: device.Tighten, Counter: &counter, Raw: []byte("45.2\r\n"), Profile: "p/1",
	}})
	want := `{"angle":"90.5","at":"2026-03-02T12:00:00.000000Z","bench":"b1","counter":"9223372036854775807","direction":"tighten",` +
		`"kind":"reading","profile":"p/1","raw":"NDUuMg0K","seq":"18446744073709551615","torque":"45.2","torque_text":"45.2",` +
		`"unit":"N·m","wrench":"w1"}`
	if err != nil || string(leaf) != want {
		t.Errorf("got  %s, %v\nwant %s", leaf, err, want)
	}
}

// What the Go encoder would write as \u003c stands as itself in canonical form.
func TestLeaf_NoHTMLEscapes(t *testing.T) {
	leaf, err := Leaf("build", 9007199254740993, noon, "no", audit.BuildOpened{Engine: "É<1>&", Family: "TB", Person: "p"})
	want := `{"at":"2026-03-02T12:00:00.000000Z","engine":"É<1>&","family":"TB","kind":"build","person":"p","refused":"no",` +
		`"revision":"","seq":"9007199254740993","unit":"","work_order":""}`
	if err != nil || string(leaf) != want {
		t.Errorf("got  %s, %v\nwant %s", leaf, err, want)
	}
}

// A time finer than a microsecond is cut, as PostgreSQL would have it back.
func TestLeaf_WholeMicroseconds(t *testing.T) {
	leaf, err := Leaf("x", 1, noon.Add(5999*time.Nanosecond), "", struct{}{})
	want := `{"at":"2026-03-02T12:00:00.000005Z","kind":"x","seq":"1"}`
	if err != nil || string(leaf) != want {
		t.Errorf("got %s, %v, want %s", leaf, err, want)
	}
}

func TestLeaf_HiddenName(t *testing.T) {
	leaf, err := Leaf("person", 7, noon, "known already", audit.PersonAdded{Person: "ab12", Name: "Ada"})
	want := `{"at":"2026-03-02T12:00:00.000000Z","kind":"person","person":"ab12","refused":"known already","seq":"7"}`
	if err != nil || string(leaf) != want {
		t.Errorf("got %s, %v, want %s", leaf, err, want)
	}
}

func TestLeaf_EveryIntegerIsText(t *testing.T) {
	leaf, err := Leaf("wrench", 1, noon, "", audit.WrenchDeclared{RangeLow: -1, RangeHigh: 1<<53 + 1})
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(leaf, &got); err != nil {
		t.Fatal(err)
	}
	if got["range_low"] != "-1" || got["range_high"] != "9007199254740993" {
		t.Errorf("got %v and %v, want \"-1\" and \"9007199254740993\"", got["range_low"], got["range_high"])
	}
}

func TestLeaf_Refused(t *testing.T) {
	for name, record := range map[string]any{
		"kind": struct {
			X string `json:"kind"`
		}{}, "seq": struct {
			X int `json:"seq"`
		}{}, "at": struct {
			X string `json:"at,omitempty"`
		}{}, "refused": struct {
			X string `json:"refused"`
		}{},
	} {
		if leaf, err := Leaf("x", 1, noon, "", record); err == nil {
			t.Errorf("a record with a field %s of its own: got %s, want an error", name, leaf)
		}
	}
	if leaf, err := Leaf("x", 1, noon, "", []string{"y"}); err == nil {
		t.Errorf("a record that is a list: got %s, want an error", leaf)
	}
}
