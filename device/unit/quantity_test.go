package unit

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseAngle(t *testing.T) {
	for text, want := range map[string]Angle{
		"90°": 90_000, "90 deg": 90_000, "90": 90_000, " 31.5 degrees ": 31_500, "-12.3456": -12_346, "5º": 5_000, "0.0005°": 1,
	} {
		if got, err := ParseAngle(text); err != nil || got != want {
			t.Errorf("ParseAngle(%q): got %d, %v, want %d", text, got, err, want)
		}
	}
	for text, reason := range map[string]string{
		"": "missing", "°": "missing", "deg": "missing", "NaN": "missing", "1e5": "unknown unit", "90 rad": "unknown unit",
		"9.0.0°": "not a number", "9-0": "not a number", "90,5°": "point", "9223372036854775.808": "too large",
	} {
		if got, err := ParseAngle(text); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("ParseAngle(%q): got %d, %v, want an error with %q", text, got, err, reason)
		}
	}
}

func TestParseLength(t *testing.T) {
	for text, want := range map[string]Length{
		"1.0 mm": 1_000_000, "0.05 mm": 50_000, "70 µm": 70_000, "70 μm": 70_000, "70um": 70_000, "1.2 m": 1_200_000_000,
		"0.003 in": 76_200, "-80 mm": -80_000_000,
	} {
		if got, err := ParseLength(text); err != nil || got != want {
			t.Errorf("ParseLength(%q): got %d, %v, want %d", text, got, err, want)
		}
	}
	for text, reason := range map[string]string{
		"": "missing", "mm": "missing", "1.0": "unit is missing", "1 ell": "unknown unit", "1e5 mm": "unknown unit",
		"1..0 mm": "not a number", "1,5 mm": "point", "9223372036854.775808 mm": "too large",
	} {
		if got, err := ParseLength(text); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("ParseLength(%q): got %d, %v, want an error with %q", text, got, err, reason)
		}
	}
}

func TestQuantity_Text(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Angle(31_000).String(), "31°"},
		{Angle(-31_500).String(), "-31.5°"},
		{Angle(89_950).In(1), "90.0"},
		{Angle(31_000).In(0), "31"},
		{Length(70_000).String(), "0.07 mm"},
		{Length(95_000_000).String(), "95 mm"},
		{Length(76_200).In(2), "0.08"},
	} {
		if c.got != c.want {
			t.Errorf("got %s, want %s", c.got, c.want)
		}
	}
}

type quantities struct {
	Torque Torque
	Angle  *Angle `json:",omitempty"`
	Length Length
}

func TestQuantity_JSON(t *testing.T) {
	t.Run("decimal text with the fewest digits", func(t *testing.T) {
		a := Angle(31_000)
		got, err := json.Marshal(quantities{45_200_000, &a, 70_000})
		if want := `{"Torque":"45.2","Angle":"31","Length":"0.07"}`; err != nil || string(got) != want {
			t.Errorf("got %s, %v, want %s", got, err, want)
		}
	})
	t.Run("every value comes back", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			a := Angle(rapid.Int64().Draw(t, "angle"))
			want := quantities{Torque(rapid.Int64().Draw(t, "torque")), &a, Length(rapid.Int64().Draw(t, "length"))}
			text, err := json.Marshal(want)
			if err != nil {
				t.Fatal(err)
			}
			var got quantities
			if err := json.Unmarshal(text, &got); err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			if got.Torque != want.Torque || *got.Angle != a || got.Length != want.Length {
				t.Fatalf("%s: got %+v, want %+v", text, got, want)
			}
		})
	})
	t.Run("nonsense is refused and changes nothing", func(t *testing.T) {
		for _, text := range []string{`45.2`, `null`, `""`, `"NaN"`, `"1e5"`, `"45.2 N·m"`, `"0.0000001"`, `"1.00000000000001"`, `"9e99"`, `"99999999999999"`} {
			v := Torque(7)
			if err := json.Unmarshal([]byte(text), &v); err == nil || v != 7 {
				t.Errorf("%s: got %d, %v, want an error", text, v, err)
			}
		}
		a, l := Angle(7), Length(7)
		if err := a.UnmarshalJSON([]byte(`"0.0005"`)); err == nil || a != 7 {
			t.Errorf("half a milli-degree: got %d, %v, want an error", a, err)
		}
		if err := l.UnmarshalJSON([]byte(`"x"`)); err == nil || l != 7 {
			t.Errorf("no length: got %d, %v, want an error", l, err)
		}
	})
}

// A decoder reads numbers out of a buffer that it uses again.
func TestTorqueIn_ReadsBytesWithoutAllocating(t *testing.T) {
	b := []byte("45.2")
	got := testing.AllocsPerRun(100, func() {
		if _, err := TorqueIn(string(b), LbfFt); err != nil {
			t.Fatal(err)
		}
		if _, err := AngleOf(string(b)); err != nil {
			t.Fatal(err)
		}
	})
	if got != 0 {
		t.Errorf("got %g allocations, want none", got)
	}
}
