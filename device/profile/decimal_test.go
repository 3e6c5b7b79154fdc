package profile

import (
	"errors"
	"math/big"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/device"
	"witnessmark/device/unit"
)

var numberTexts = rapid.StringMatching(`[-+]?[0-9]{1,22}(\.[0-9]{1,34})?|[-+]{0,2}[0-9]{0,3}\.?[0-9.]{0,4}|0{1,30}[0-9]\.[0-9]0{0,40}`)

// Angles, and torques in N·m, are read here without a detour through text; the package unit says what is right.
func TestReadDecimal_ReadsWhatUnitReads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := numberTexts.Draw(t, "text")
		want, err := unit.AngleOf(text)
		d, fault := readDecimal([]byte(text), '.')
		got, fits := d.steps(3)
		switch {
		case err == nil && (fault != noFault || !fits || unit.Angle(got) != want):
			t.Fatalf("%q: got %d %t %d, want %d", text, got, fits, fault, want)
		case errors.Is(err, unit.ErrTooLarge) && fault != tooLarge && fits:
			t.Fatalf("%q: got %d, want it too large", text, got)
		case err != nil && fault == noFault && fits:
			t.Fatalf("%q: got %d, want %v", text, got, err)
		}
		torque, err := unit.TorqueIn(text, unit.Nm)
		measured := draft{kept: &kept{Reading: device.Reading{Unit: unit.Nm}}, number: d}
		if got, why := measured.measure(); err == nil && fault == noFault && (why != nil || got != torque) {
			t.Fatalf("%q: got %d µN·m %v, want %d", text, got, why, torque)
		}
	})
}

func TestDecimal_WritesItsDigits(t *testing.T) {
	for text, want := range map[string]string{
		"45.20": "45.20", "0": "0", "007": "7", "-0.05": "-0.05", "+3": "3", "0.00": "0.00", "-0": "-0",
		"18446744073709551615": "18446744073709551615", "1.000000000000000000000000000000000000": "1.000000000000000000",
	} {
		var room numberRoom
		d, fault := readDecimal([]byte(text), '.')
		if got := string(d.write(&room)); fault != noFault || got != want {
			t.Errorf("%s: got %s %d, want %s", text, got, fault, want)
		}
	}
}

func TestScale_IsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		factor := rapid.SampledFrom([]string{"0.1", "0.01", "0.25", "3", "0.00001", "9.80665", "1"}).Draw(t, "scale")
		text := rapid.StringMatching(`-?[0-9]{1,8}(\.[0-9]{1,4})?`).Draw(t, "number")
		s, ok := readScale(factor)
		d, fault := readDecimal([]byte(text), '.')
		product, tooLong := s.of(d)
		if !ok || fault != noFault || tooLong != noFault {
			t.Fatalf("%s × %s: got %t %d %d, want a product", text, factor, ok, fault, tooLong)
		}
		var room numberRoom
		got, _ := new(big.Rat).SetString(string(product.write(&room)))
		number, _ := new(big.Rat).SetString(text)
		if want := new(big.Rat).Mul(number, s.ratio); got.Cmp(want) != 0 {
			t.Fatalf("%s × %s: got %s, want %s", text, factor, got, want)
		}
		back, _ := new(big.Rat).SetString(s.undo(string(product.write(&room)), 0, true))
		if back.Cmp(number) != 0 {
			t.Fatalf("%s × %s / %s: got %s", text, factor, factor, back)
		}
	})
}

func TestReadScale_Refused(t *testing.T) {
	for _, text := range []string{"", "0", "0.0", "-1", "+1", ".1", "1.", "1e3", "1/2", "1234567890", "0.123456789", "1,5", "x"} {
		if s, ok := readScale(text); ok {
			t.Errorf("%q: got %+v, want none", text, s)
		}
	}
}
