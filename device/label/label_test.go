package label_test

import (
	"strings"
	"testing"

	"witnessmark/device/label"
)

// engine is a scanner that knows engines behind the prefix "E-" alone, with check c.
func engine(c label.Check) label.Forms {
	return label.Forms{{Kind: label.Engine, Prefix: "E-", Check: c}}
}

// with is the text with another character at i.
func with(text string, i int, c byte) string { return text[:i] + string(c) + text[i+1:] }

func TestCheck_VIN(t *testing.T) {
	for _, c := range []struct{ vin, note, source string }{
		{"1M8GDM9AXKP042788", "", "a public post that works it out, sum 351"},
		{"1G4AH59H45G118341", "", "the worked example of an older edition of 49 CFR 565, sum 411"},
		{"11111111111111111", "", "from memory, sum 89"},
		{"1HGCM82633A004352", "", "from memory, sum 311"},
		{"5M8GDM9A9KP042788", "", "by hand: the first character weighs 8·4 more than in the first line, 383 leaves 9"},
		{"WAUZZZ8K9BA012345", label.NoCheckDigit, "constructed in the European form, 299 leaves 2"},
		{"WAUZZZ8K2BA012345", "", "the same with the digit that fits"},
	} {
		t.Run(c.vin, func(t *testing.T) {
			got, err := engine(label.VIN).Read("E-" + c.vin)
			if err != nil || got.Value != c.vin || got.Note != c.note {
				t.Errorf("got %+v, %v, want all of it and the note %q (%s)", got, err, c.note, c.source)
			}
		})
	}
	t.Run("a North American maker has one digit that is right", func(t *testing.T) {
		for _, first := range []byte("12345") {
			right := 0
			for _, c := range []byte("0123456789X") {
				if _, err := engine(label.VIN).Read("E-" + with(with("1M8GDM9AXKP042788", 0, first), 8, c)); err == nil {
					right++
				}
			}
			if right != 1 {
				t.Errorf("first character %c: got %d digits accepted, want 1", first, right)
			}
		}
	})
	t.Run("another maker may write anything there", func(t *testing.T) {
		for _, first := range []byte("069JWZ") {
			for _, c := range []byte("0123456789XZ") {
				if _, err := engine(label.VIN).Read("E-" + with(with("WAUZZZ8K9BA012345", 0, first), 8, c)); err != nil {
					t.Errorf("first character %c, digit %c: got %v, want it accepted", first, c, err)
				}
			}
		}
	})
	for rule, vin := range map[string]string{
		"16 characters": "1M8GDM9AXKP04278", "18 characters": "1M8GDM9AXKP0427888", "a letter I": "WAUZZZ8K9BAI12345",
		"a letter O": "WAUZZZ8K9BAO12345", "a letter Q": "WAUZZZ8K9BAQ12345", "small letters": "wauzzz8k9ba012345",
	} {
		t.Run(rule+" is no VIN", func(t *testing.T) {
			if _, err := engine(label.VIN).Read("E-" + vin); err == nil || !strings.Contains(err.Error(), "no VIN") {
				t.Errorf("got %v, want it refused as no VIN", err)
			}
		})
	}
}

func TestCheck_GS1(t *testing.T) {
	for _, c := range []struct{ number, source string }{
		{"6291041500213", "GTIN-13 of GS1's public calculator, weighted sum 57"},
		{"036000241457", "GTIN-12 of a public article, weighted sum 53"},
		{"9780306406157", "GTIN-13 of a book, from memory, weighted sum 93"},
		{"40170725", "GTIN-8, by hand: the weighted sum of 4017072 is 35"},
		{"00012345600012", "GTIN-14, by hand: the weighted sum of 0001234560001 is 48"},
		{"106141411234567897", "SSCC-18, by hand: the weighted sum of 10614141123456789 is 143"},
	} {
		t.Run(c.number, func(t *testing.T) {
			last := len(c.number) - 1
			for _, d := range []byte("0123456789") {
				got, err := engine(label.GS1).Read("E-" + with(c.number, last, d))
				if right := d == c.number[last]; right != (err == nil) || right && got.Value != c.number {
					t.Errorf("with %c at the end: got %+v, %v, want %c alone accepted (%s)", d, got, err, c.number[last], c.source)
				}
			}
		})
	}
	for rule, number := range map[string]string{"nine digits": "401707251", "a letter": "4017072A", "nothing": ""} {
		t.Run(rule+" is no GS1 number", func(t *testing.T) {
			if _, err := engine(label.GS1).Read("E-" + number); err == nil || !strings.Contains(err.Error(), "no GS1 number") {
				t.Errorf("got %v, want it refused as no GS1 number", err)
			}
		})
	}
}

func TestCheck_Code39(t *testing.T) {
	for _, c := range []struct{ prefix, text, want, source string }{
		{"1", "12345ABCDE/T", "2345ABCDE/", "from memory, sum 115: the prefix is guarded too"},
		{"CODE", "CODE 39R", "39", "by hand, sum 113"},
		{"E-", "E-V ", "V", "by hand, sum 81 leaves 38, which is a blank"},
	} {
		t.Run(c.text, func(t *testing.T) {
			forms := label.Forms{{Kind: label.Joint, Prefix: c.prefix, Check: label.Code39}}
			if got, err := forms.Read(c.text); err != nil || got.Value != c.want {
				t.Errorf("got %+v, %v, want %q (%s)", got, err, c.want, c.source)
			}
			for i := range len(c.text) {
				wrong := byte('7')
				if c.text[i] == wrong {
					wrong = '8'
				}
				if got, err := forms.Read(with(c.text, i, wrong)); err == nil {
					t.Errorf("with %c at %d: got %+v, want any single wrong character refused", wrong, i, got)
				}
			}
		})
	}
	for rule, text := range map[string]string{"a small letter": "E-aS", "nothing before the check": "E-"} {
		t.Run(rule+" is refused", func(t *testing.T) {
			if got, err := engine(label.Code39).Read(text); err == nil {
				t.Errorf("got %+v, want it refused", got)
			}
		})
	}
	t.Run("a check that eats into the prefix leaves nothing", func(t *testing.T) {
		forms := label.Forms{{Kind: label.Joint, Prefix: "CODE 39R", Check: label.Code39}}
		if got, err := forms.Read("CODE 39R"); err == nil {
			t.Errorf("got %+v, want it refused as empty", got)
		}
	})
}

func TestForms_Read(t *testing.T) {
	forms := label.Forms{
		{Kind: label.Engine, Prefix: "E:", Check: label.None},
		{Kind: label.Engine, Prefix: "E:H", Check: label.None, Family: "TB-7"},
		{Kind: label.WorkOrder, Prefix: "WO-", Check: label.None},
		{Kind: label.Badge, Prefix: "B", Check: label.None},
		{Kind: label.Engine, Check: label.VIN},
		{Kind: label.Fastener, Check: label.GS1},
	}
	for _, c := range []struct {
		rule, text string
		want       label.Label
	}{
		{"a prefix tells the kind and is taken off", "E:TB42-10577", label.Label{Kind: label.Engine, Value: "TB42-10577"}},
		{"the longer prefix counts, and names the family", "E:H12", label.Label{Kind: label.Engine, Value: "12", Family: "TB-7"}},
		{"blanks around the value are no part of it", "WO- 2201 ", label.Label{Kind: label.WorkOrder, Value: "2201"}},
		{"without a prefix a VIN is told by its look", "1M8GDM9AXKP042788", label.Label{Kind: label.Engine, Value: "1M8GDM9AXKP042788"}},
		{"without a prefix a GS1 number is told by its look", "40170725", label.Label{Kind: label.Fastener, Value: "40170725"}},
		{"a prefix goes before a look", "B1234567890123456", label.Label{Kind: label.Badge, Value: "1234567890123456"}},
		{"text of any language is text", "E:№ 7", label.Label{Kind: label.Engine, Value: "№ 7"}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if got, err := forms.Read(c.text); err != nil || got != c.want {
				t.Errorf("got %+v, %v, want %+v", got, err, c.want)
			}
		})
	}
	for _, c := range []struct{ rule, text, want string }{
		{"an unknown beginning", "X:1", "no kind of label"},
		{"a VIN without a prefix but with a wrong digit", "1M8GDM9A0KP042788", "check digit of the VIN is wrong"},
		{"a prefix alone", "E:", "empty behind its prefix"},
		{"a prefix and blanks", "E:  ", "empty behind its prefix"},
		{"a control character", "E:1\x02", "no text"},
		{"bytes that are no UTF-8", "E:\xff", "no text"},
		{"two scans in one line", "E:" + strings.Repeat("1", 127), "too long"},
	} {
		t.Run(c.rule+" is refused", func(t *testing.T) {
			got, err := forms.Read(c.text)
			if err == nil || !strings.Contains(err.Error(), c.want) || got != (label.Label{}) {
				t.Errorf("got %+v, %v, want a refusal with %q", got, err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), c.text) {
				t.Errorf("got %q, want the text kept out of it: it may be a badge", err)
			}
		})
	}
}

func TestForm_Fault(t *testing.T) {
	for _, c := range label.Checks() {
		told := c == label.VIN || c == label.GS1
		if got := (label.Form{Kind: label.Engine, Check: c}).Fault(); (got == "") != told {
			t.Errorf("without a prefix, check %s: got %q, want a fault unless the check tells the label", c, got)
		}
		if got := (label.Form{Kind: label.Engine, Prefix: "E", Check: c}).Fault(); got != "" {
			t.Errorf("with a prefix, check %s: got %q, want none", c, got)
		}
	}
}

func FuzzForms(f *testing.F) {
	for _, seed := range []string{"E-TB42", "E-12345ABCDE/T", "1M8GDM9AXKP042788", "WAUZZZ8K9BA012345", "40170725", "W", "\x00", "E-V "} {
		f.Add(seed)
	}
	forms := label.Forms{{Kind: label.Engine, Prefix: "E-", Check: label.Code39}, {Kind: label.WorkOrder, Prefix: "W", Check: label.VIN},
		{Kind: label.Badge, Prefix: "B", Check: label.None}, {Kind: label.Engine, Check: label.VIN}, {Kind: label.Fastener, Check: label.GS1}}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := forms.Read(text)
		switch {
		case err != nil && got != label.Label{}:
			t.Errorf("%q: got %+v beside %v", text, got, err)
		case err == nil && (got.Value == "" || got.Value != strings.TrimSpace(got.Value) || !strings.Contains(text, got.Value)):
			t.Errorf("%q: got the value %q, want a part of the text", text, got.Value)
		}
	})
}
