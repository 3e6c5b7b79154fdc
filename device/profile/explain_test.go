package profile

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
)

// drawn writes an explanation in one line: text [name: meaning] …
func drawn(f []byte, e Explanation) string {
	var b strings.Builder
	for _, p := range e.Parts {
		fmt.Fprintf(&b, "%s[%s", wireText(f[p.From:p.To]), p.Name)
		if p.Meaning != "" {
			b.WriteString(": " + p.Meaning)
		}
		b.WriteString("]")
	}
	return b.String()
}

func TestProfile_Explain(t *testing.T) {
	for _, c := range []struct{ rule, form, frame, want string }{
		{"a line", "semicolon", sealed("1042; 45.2;LBFT;;L;now;M7"),
			"#[lead]1042[count: 1042];[separator] 45.2[final torque: 45.2 lbf·ft = 61.282971 N·m];[separator]LBFT[unit: lbf·ft];;[separator]" +
				"L[direction: loosen];[separator]now[clock: now];[separator]M7[tag: M7]*[mark of the check]66[check xor: fits]<CR><LF>[end of the frame]"},
		{"a check that does not fit", "semicolon", strings.Replace(sealed("1;45.2;Nm;;R;;"), "45.2", "46.2", 1),
			"#[lead]1[count: 1];[separator]46.2[final torque: 46.2 N·m];[separator]Nm[unit: N·m];;[separator]R[direction: tighten];;[separator]" +
				"*[mark of the check]5D[check xor: found check 5D, expected 5E]<CR><LF>[end of the frame]"},
		{"a value that is refused", "semicolon", sealed("1;-45.2;Nm;x;R;;"),
			"#[lead]1[count: 1];[separator]-45.2[final torque: found torque -45.2 N·m, expected no minus: the sign does not tell the direction here];[separator]" +
				"Nm[unit: N·m];[separator]x[final angle: found final angle \"x\", expected a number];[separator]R[direction: tighten];;[separator]" +
				"*[mark of the check]08[check xor: fits]<CR><LF>[end of the frame]"},
		{"a field too few", "semicolon", sealed("1;45.2"),
			"#[lead]1[count: 1];[separator]45.2[final torque: 45.2]*[mark of the check]17[check xor: fits]<CR><LF>[end of the frame]"},
		{"a field too much", "semicolon", sealed("1;45.2;Nm;;R;;;more"),
			"#[lead]1[count: 1];[separator]45.2[final torque: 45.2 N·m];[separator]Nm[unit: N·m];;[separator]R[direction: tighten];;" +
				";more[not understood: found 8 fields, expected 7]*[mark of the check]73[check xor: fits]<CR><LF>[end of the frame]"},
		{"columns", "columns", "\x02   12     90,4     5,0 TABC   P\x03\x5c",
			"<STX>[start of the frame]   12[counter: 12] [not looked at]    90,4[torque: 45.20 N·m] [not looked at]    5,0[angle: 5°] " +
				"[not looked at]T[fixed: as it must be]ABC   [tag: ABC]P[judgement: pass]<ETX>[end of the frame]\\[check xor: fits]"},
		{"too few columns", "columns", "\x02   12\x03\x2f",
			"<STX>[start of the frame]   12[not understood: found a line of 5 columns, expected 24 columns to 31 columns]<ETX>[end of the frame]" +
				"/[check xor: found check 2F, expected 20]"},
		{"a pattern", "pattern", "Tool AB7 #12: 45.200 Nm no angle on\n",
			"Tool [text of the pattern]AB7[serial: AB7] #[text of the pattern]12[count: 12]: [text of the pattern]45.200[torque: 45.200 N·m]" +
				" [text of the pattern]Nm[unit: N·m] no angle [text of the pattern]on[way: tighten]<LF>[end of the frame]"},
		{"an object", "json", `{"result":{"torque":{"value":45.2,"unit":"N\u00b7m"},"ccw":true},"n":7,"state":["AB7",150],"stored":true}`,
			`{"result":{"torque":{"value":[JSON]45.2[torque: 45.2 N·m],"unit":"[JSON]N\u00b7m[unit: N·m]"},"ccw":[JSON]true[ccw: loosen]},"n":[JSON]7[n: 7]` +
				`,"state":["[JSON]AB7[serial: AB7]",[JSON]150[battery: 75 %]],"stored":[JSON]true[stored: kept in the wrench and sent later]}[JSON]`},
		{"numbers, bits of one beside each other", "binary fixed",
			"\xa5Z\x07\x00\x00\x00\xa8\x11\x00\x00\x01\x3a\x82\x57\x00\x00\x00\x00AB7\x00\x00\x00\x00\x00M7    \x0b\x00\x00\x03\x00\x00\x00\x00\x00\x00\xcf\xcb",
			"<A5>Z[start of the frame]<BEL><NUL><NUL><NUL>[counter: 7]<A8><DC1><NUL><NUL>[torque: 45.20 N·m]<SOH>:[angle: 31.4°]" +
				"<82>[judgement: low]<82>[stored: kept in the wrench and sent later]W[battery: 87 %]<NUL><NUL><NUL><NUL>[clock: 1970-01-01T00:00:00Z]" +
				"AB7<NUL><NUL><NUL><NUL><NUL>[serial: AB7]M7    [tag: M7]<VT><NUL>[error: 11]<NUL><ETX>[preset: 0003]" +
				"<NUL><NUL><NUL><NUL>[unread: not looked at]<NUL><NUL>[not looked at]<CF><CB>[check CRC-16/MODBUS: fits]"},
		{"a frame that says its length", "binary counted",
			"\x01\x12\x4d\x01\x42\x34\xcc\xcd\x7f\xf8\x00\x00\x00\x00\x00\x01\x01\x04\x10\x42", "<SOH>[start of the frame]<DC2>[length of the frame: 20 bytes in all]" +
				"M[check sum-negated: found check 4D, expected 21]<SOH>[unit: lbf·ft]B4<CC><CD>[torque: 45.2 lbf·ft = 61.282971 N·m]" +
				"<7F><F8><NUL><NUL><NUL><NUL><NUL><SOH>[angle: nothing]<SOH>[direction: loosen]<EOT><DLE>B[counter: 41042]"},
		{"a frame of another length", "binary counted", "\x01\x12\x4d", "<SOH><DC2>M[frame: found 3 bytes, expected the 20 that the frame itself says]"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := mustBuiltin(t)
			if c.form != "semicolon" {
				p = mustParse(t, formTexts[c.form])
			}
			f := frame.Frame{Bytes: []byte(c.frame)}
			if got := drawn(f.Bytes, p.Explain(f)); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestProfile_ExplainOfAFault(t *testing.T) {
	f := frame.Frame{Bytes: []byte("#10"), Fault: device.ReasonTorn}
	if got, want := drawn(f.Bytes, mustBuiltin(t).Explain(f)), "#10[torn: the port closed in the middle of a frame]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	f = frame.Frame{Bytes: []byte("!on\r\n")}
	if got, want := drawn(f.Bytes, mustBuiltin(t).Explain(f)), "!on<CR><LF>[ignored: the profile names it as no reading]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestProfile_ExplainOfIgnoredNoise(t *testing.T) {
	p := mustParse(t, formTexts["columns"]+"ignore: [READY]\n")
	var all []string
	framer := p.NewFramer()
	framer.Push([]byte("READY V2\r\n\x02\x03\x03noise\x02"), func(f frame.Frame) { all = append(all, drawn(f.Bytes, p.Explain(f))) })
	if len(all) < 3 || !strings.Contains(all[0], "[ignored: the profile names it as no reading]") || !strings.Contains(all[2], "noise[noise: found bytes outside") {
		t.Errorf("got %q, want an ignored greeting, a frame, and noise", all)
	}
}
