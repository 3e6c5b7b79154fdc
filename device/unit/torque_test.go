package unit

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustTorque(t *testing.T, text string) Torque {
	t.Helper()
	v, _, err := ParseTorque(text)
	if err != nil {
		t.Fatalf("ParseTorque(%q): %v", text, err)
	}
	return v
}

// The exact worth of each unit follows from the definitions that NIST SP 811 (2008), App. B.8/B.9 names: lb and in of
// 1959, g_n of 1901. A thousand million of a unit shows the digits that a single one would round away.
func TestParseTorque_ExactFactors(t *testing.T) {
	for _, c := range []struct {
		text string
		want Torque
	}{
		{"1000000000 lbf·ft", 1_355_817_948_331_400},
		{"1000000000 lbf·in", 112_984_829_027_617},  // 0.1129848290276167 N·m, rounded
		{"1000000000 ozf·in", 7_061_551_814_226},    // 0.00706155181422604375 N·m, rounded
		{"1 kgf·m", 9_806_650},                      // exact
		{"1000 kgf·cm", 98_066_500},                 // 0.0980665 N·m, exact
		{"10000 gf·cm", 980_665},                    // 0.0000980665 N·m, exact
		{"1 dN·m", 100_000},                         // SI prefixes
		{"1 cN·m", 10_000},                          //
		{"1 mN·m", 1_000},                           //
		{"1 N·m", 1_000_000},                        //
		{"30 lbf·ft", 40_674_538},                   // worked conversions: 40.674538449942012 N·m
		{"75 lbf·ft", 101_686_346},                  // 101.68634612485503
		{"100 lbf·ft", 135_581_795},                 // 135.58179483314004
		{"50 lbf·in", 5_649_241},                    // 5.649241451380835
		{"9223372036854.775807 N·m", 1<<63 - 1},     // the largest torque
		{"-9223372036854.775808 N·m", -1 << 63},     //
		{"0.0000005 N·m", 1},                        // a half goes away from zero
		{"-0.0000005 N·m", -1},                      //
		{"0.00000049999999999 N·m", 0},              //
		{"0.000000000000000000000000000001 N·m", 0}, //
	} {
		if got := mustTorque(t, c.text); got != c.want {
			t.Errorf("%s: got %d µN·m, want %d", c.text, got, c.want)
		}
	}
}

// NIST SP 811 (2008), App. B.8/B.9 prints seven significant digits.
func TestTorque_PrintedFactors(t *testing.T) {
	for _, c := range []struct {
		million  string // a million of the unit
		decimals int
		want     string // N·m
	}{
		{"1000000 lbf·ft", 0, "1355818"},
		{"10000000 lbf·in", 0, "1129848"},
		{"1000000000 ozf·in", 0, "7061552"}, // from memory
		{"100000 kgf·m", 0, "980665"},       // from memory
	} {
		if got := mustTorque(t, c.million).In(Nm, c.decimals); got != c.want {
			t.Errorf("%s: got %s N·m, want %s", c.million, got, c.want)
		}
	}
}

// The inverses of the same definitions, at a million N·m.
func TestTorque_In(t *testing.T) {
	for _, c := range []struct {
		unit     TorqueUnit
		decimals int
		want     string
	}{
		{LbfFt, 6, "737562.149277"}, // 1 N·m = 0.737562149277265 lbf·ft
		{LbfIn, 5, "8850745.79133"}, // 8.85074579132718 lbf·in
		{KgfM, 6, "101971.621298"},  // 0.101971621297793 kgf·m
		{OzfIn, 3, "141611932.661"}, // 141.611932661235 ozf·in
		{Nm, 0, "1000000"},
		{CNm, 1, "100000000.0"},
		{"furlong", 0, "1000000"},
		{Nm, -3, "1000000"},
	} {
		if got := (1_000_000 * NewtonMetre).In(c.unit, c.decimals); got != c.want {
			t.Errorf("in %s: got %s, want %s", c.unit, got, c.want)
		}
	}
	if got, want := (100*NewtonMetre).In(LbfFt, 6), "73.756215"; got != want { // 73.756214927726528 lbf·ft
		t.Errorf("100 N·m in lbf·ft: got %s, want %s", got, want)
	}
	if got, want := Torque(999_950).In(Nm, 1), "1.0"; got != want {
		t.Errorf("a carry through the point: got %s, want %s", got, want)
	}
	if got, want := Torque(-40_000).In(Nm, 1), "0.0"; got != want {
		t.Errorf("less than a digit below zero: got %s, want %s without a sign", got, want)
	}
	if got, want := Torque(-50_000).In(Nm, 1), "-0.1"; got != want {
		t.Errorf("half a digit below zero: got %s, want %s", got, want)
	}
}

// 1 lbf·ft = 0.138254954376 kgf·m exactly (0.45359237 kg × 0.3048 m).
func TestTorque_PoundFootInKilogramMetre(t *testing.T) {
	if got, want := mustTorque(t, "1000000 lbf·ft").In(KgfM, 5), "138254.95438"; got != want {
		t.Errorf("got %s kgf·m, want %s", got, want)
	}
}

func TestTorque_Identities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(0, 1_000_000_000).Draw(t, "feet")
		feet, _ := TorqueIn(fmt.Sprint(n), LbfFt)
		inches, _ := TorqueIn(fmt.Sprint(12*n), LbfIn)
		ounces, _ := TorqueIn(fmt.Sprint(192*n), OzfIn)
		if feet != inches || feet != ounces {
			t.Fatalf("%d lbf·ft: got %d, in lbf·in %d, in ozf·in %d, want the same", n, feet, inches, ounces)
		}
	})
}

// US Army TM 9-2320-362-14&P, App. F, Table F-1, in lb·ft and N·m.
func TestTorque_MilitaryTable(t *testing.T) {
	agree := "6→8 15→20 26→35 43→58 65→88 90→122 130→176 185→251 440→597 10→14 37→50 60→81 178→241 260→353 635→861 " +
		"20→27 40→54 70→95 113→153 176→239 343→465 23→31 48→65 132→179 207→281 399→541"
	for row := range strings.FieldsSeq(agree) {
		feet, want, _ := strings.Cut(row, "→")
		if got := mustTorque(t, feet+" lb·ft").In(Nm, 0); got != want {
			t.Errorf("%s lb·ft: got %s N·m, want the printed %s", feet, got, want)
		}
	}
	for _, row := range []struct{ feet, printed, exact string }{
		{"300", "408", "406.75"}, {"88", "122", "119.31"}, {"21", "29", "28.47"}, {"420", "570", "569.44"}, {"80", "109", "108.47"},
	} {
		got := mustTorque(t, row.feet+" lb·ft")
		if got.In(Nm, 2) != row.exact {
			t.Errorf("%s lb·ft: got %s N·m, want %s", row.feet, got.In(Nm, 2), row.exact)
		}
		if got.In(Nm, 0) == row.printed {
			t.Errorf("%s lb·ft: got the printed %s N·m, want it to show as a fault of the table", row.feet, row.printed)
		}
	}
}

func TestParseTorque_Spellings(t *testing.T) {
	for want, spellings := range map[TorqueUnit]string{
		Nm:    "N·m|Nm|NM|nm|N.m|N m|N-m|N*m|N⋅m|n•m",
		DNm:   "dN·m|dNm|DNM",
		CNm:   "cN·m|cNm|CNM",
		MNm:   "mN·m|mNm|mN.m",
		LbfFt: "lbf·ft|lbf.ft|lbf-ft|lbf ft|lbfft|ft·lb|ft-lb|ft-lbs|ft.lb|lb·ft|lb-ft|FT LBF|FTLB",
		LbfIn: "lbf·in|in·lb|in-lb|in lbs|LBIN|lbf-in",
		OzfIn: "ozf·in|oz-in|in·ozf|OZIN",
		KgfM:  "kgf·m|kgf m|kg-m|kgm|m·kgf|mkg|kp·m",
		KgfCm: "kgf·cm|kgfcm|kg-cm|KGFCM",
		GfCm:  "gf·cm|gfcm|g-cm",
	} {
		for s := range strings.SplitSeq(spellings, "|") {
			got, err := ParseTorqueUnit(s)
			if err != nil || got != want {
				t.Errorf("ParseTorqueUnit(%q): got %q, %v, want %q", s, got, err, want)
			}
		}
	}
	for _, text := range []string{"30 N·m", "30N·m", " 30.0 Nm ", "+30 N·m", "030\u202fN·m", "3000 cNm"} {
		if got := mustTorque(t, text); got != 30*NewtonMetre {
			t.Errorf("ParseTorque(%q): got %d, want 30 N·m", text, got)
		}
	}
}

func TestParseTorque_Refused(t *testing.T) {
	for text, reason := range map[string]string{
		"":                                      "missing",
		"N·m":                                   "missing",
		"NaN":                                   "missing",
		"Inf N·m":                               "missing",
		"30":                                    "unit of torque is missing",
		"1e5 N·m":                               "unknown unit",
		"1_000 N·m":                             "unknown unit",
		"30 N/m":                                "unknown unit",
		"30 MN·m":                               "unknown unit",
		"30 °":                                  "unknown unit",
		"30,5 N·m":                              "sign as a point",
		"1.2.3 N·m":                             "not a number",
		"1-2 N·m":                               "not a number",
		"--1 N·m":                               "not a number",
		"+ 1 N·m":                               "unknown unit",
		".5 N·m":                                "not a number",
		"5. N·m":                                "not a number",
		"٣ N·m":                                 "missing",
		"9223372036854.775808 N·m":              "too large",
		"99999999999999999999 N·m":              "too large",
		"18446744073709551616 gf·cm":            "too large",
		"0.1234567890123456789012345678901 N·m": "digits",
	} {
		got, u, err := ParseTorque(text)
		if err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("ParseTorque(%q): got %d %s, %v, want an error with %q", text, got, u, err, reason)
		}
	}
	if _, err := TorqueIn("30", "furlong"); err == nil {
		t.Error("TorqueIn with an unknown unit: got no error, want one")
	}
}

// A reading of four digits comes back as the wrench wrote it, as long as its last digit is worth more than 1 µN·m.
func TestTorque_RoundTripOfFourDigits(t *testing.T) {
	finest := map[TorqueUnit]int{OzfIn: 3, GfCm: 1, MNm: 2}
	for u := range torqueScales {
		most, ok := finest[u]
		if !ok {
			most = 4
		}
		for n := range 10_000 {
			for decimals := range most + 1 {
				want := strconv.Itoa(n)
				if decimals > 0 {
					want = fmt.Sprintf("%0*d", decimals+1, n)
					want = want[:len(want)-decimals] + "." + want[len(want)-decimals:]
				}
				v, err := TorqueIn(want, u)
				if err != nil {
					t.Fatal(err)
				}
				if got := v.In(u, decimals); got != want {
					t.Fatalf("%s %s: got %s back", want, u, got)
				}
			}
		}
	}
}

func TestTorque_String(t *testing.T) {
	for v, want := range map[Torque]string{
		45_200_000: "45.2 N·m", 0: "0 N·m", 1: "0.000001 N·m", -30_000_000: "-30 N·m", 100_000_000: "100 N·m",
		-1 << 63: "-9223372036854.775808 N·m",
	} {
		if got := v.String(); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

func FuzzParseTorque(f *testing.F) {
	for _, s := range []string{"30 N·m", "22 lbf·ft", "-0.5 cNm", "1e5 Nm", "NaN", "9223372036854.775807 N·m", "1..2", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, _, err := ParseTorque(text)
		if err != nil {
			return
		}
		back, u, err := ParseTorque(v.String())
		if err != nil || back != v || u != Nm {
			t.Errorf("%q: got %d, written %s and read back as %d %s, %v", text, v, v, back, u, err)
		}
	})
}
