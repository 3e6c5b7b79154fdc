package unit

import (
	"fmt"
	"strings"
)

// The worth of each unit in µN·m. They follow from the definitions, exactly: pound 0.45359237 kg and inch 0.0254 m
// (1959), standard gravity 9.80665 m/s² (CGPM 1901), ounce a sixteenth of a pound, foot twelve inches.
var torqueScales = map[TorqueUnit]scale{
	Nm:    {1_000_000, 0},
	DNm:   {100_000, 0},
	CNm:   {10_000, 0},
	MNm:   {1_000, 0},
	LbfFt: {13_558_179_483_314_004, 10},
	LbfIn: {1_129_848_290_276_167, 10},
	OzfIn: {706_155_181_422_604_375, 14},
	KgfM:  {9_806_650, 0},
	KgfCm: {980_665, 1},
	GfCm:  {980_665, 4},
}

// torqueSpellings knows the units without separators and in lower case.
var torqueSpellings = map[string]TorqueUnit{
	"nm": Nm, "dnm": DNm, "cnm": CNm,
	"lbfft": LbfFt, "lbft": LbfFt, "lbsft": LbfFt, "ftlbf": LbfFt, "ftlb": LbfFt, "ftlbs": LbfFt,
	"lbfin": LbfIn, "lbin": LbfIn, "lbsin": LbfIn, "inlbf": LbfIn, "inlb": LbfIn, "inlbs": LbfIn,
	"ozfin": OzfIn, "ozin": OzfIn, "inozf": OzfIn, "inoz": OzfIn,
	"kgfm": KgfM, "kgm": KgfM, "kpm": KgfM, "mkgf": KgfM, "mkg": KgfM, "mkp": KgfM,
	"kgfcm": KgfCm, "kgcm": KgfCm, "kpcm": KgfCm, "cmkgf": KgfCm, "cmkg": KgfCm, "cmkp": KgfCm,
	"gfcm": GfCm, "gcm": GfCm, "pcm": GfCm, "cmgf": GfCm, "cmg": GfCm,
}

// separators may stand between the parts of a unit; a slash may not, N/m is no torque.
var separators = strings.NewReplacer("·", "", "⋅", "", "•", "", "∙", "", "*", "", "×", "", "-", "", "‑", "", ".", "",
	" ", "", "\u00a0", "", "\u202f", "")

// ParseTorqueUnit reads a unit of torque in one of its usual spellings: "N·m", "Nm", "lbf·ft", "ft-lb", "KGFCM" …
// Upper and lower case are the same, but milli-newton-metres must be "mN·m" with a small m: a capital one is mega.
func ParseTorqueUnit(text string) (TorqueUnit, error) {
	bare := separators.Replace(text)
	if bare == "mNm" || bare == "mnm" {
		return MNm, nil
	}
	if u, ok := torqueSpellings[strings.ToLower(bare)]; ok {
		return u, nil
	}
	if strings.TrimSpace(text) == "" {
		return "", fmt.Errorf("the unit of torque is missing: write one, such as N·m")
	}
	return "", fmt.Errorf("unknown unit of torque %.40q: write N·m, dN·m, cN·m, mN·m, lbf·ft, lbf·in, ozf·in, kgf·m, kgf·cm or gf·cm", text)
}

// ParseTorque reads a number with its unit, such as "30 N·m" or "22 lbf·ft", and gives the torque and the unit that
// it was written in. The number has no exponent and no decimal comma; what is finer than 1 µN·m is rounded.
func ParseTorque(text string) (Torque, TorqueUnit, error) {
	number, rest := cutNumber(text)
	if number == "" {
		return 0, "", fmt.Errorf("read torque %.60q: %w", text, errNoNumber)
	}
	u, err := ParseTorqueUnit(rest)
	if err != nil {
		return 0, "", fmt.Errorf("read torque %.60q: %w", text, err)
	}
	t, err := TorqueIn(number, u)
	if err != nil {
		return 0, "", err
	}
	return t, u, nil
}

// TorqueIn is the torque of a decimal number in a unit, rounded to 1 µN·m, a half away from zero.
func TorqueIn(number string, u TorqueUnit) (Torque, error) {
	s, ok := torqueScales[u]
	if !ok {
		return 0, fmt.Errorf("read torque %.60q: unknown unit of torque %.40q", strings.Clone(number), u)
	}
	d, err := parseDecimal(number)
	if err != nil {
		return 0, fmt.Errorf("read torque: %w", err)
	}
	v, _, err := d.steps(s)
	if err != nil {
		return 0, fmt.Errorf("read torque %.60q: %w", strings.Clone(number), err)
	}
	return Torque(v), nil
}

// In writes the torque as a number in a unit with so many decimals (0 to 18), a half rounded away from zero, without
// the unit's name. A unit that is not one of the constants gives the N·m.
func (t Torque) In(u TorqueUnit, decimals int) string {
	s, ok := torqueScales[u]
	if !ok {
		s = torqueScales[Nm]
	}
	return s.format(int64(t), min(max(decimals, 0), 18))
}

// String writes the torque in N·m with the fewest digits that lose nothing: "45.2 N·m".
func (t Torque) String() string { return t.number() + " N·m" }

func (t Torque) number() string { return torqueScales[Nm].shortest(int64(t), 6) }
