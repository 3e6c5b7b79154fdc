package profile

import (
	"errors"
	"strings"
	"testing"

	"witnessmark/device/strictyaml"
)

// fault is one thing that is broken in a good file, and what is said of it.
type fault struct{ rule, old, new, want string }

var faultTable = []struct {
	name string
	base string // of formTexts; "good": goodFile
	rows []fault
}{
	{"head", "good", []fault{
		{"the format is of another version", "wrench/1", "wrench/2", `1:9: found "witnessmark/wrench/2", expected witnessmark/wrench/1`},
		{"a key is missing", "version: \"1\"\n", "", `1:1: found no key "version", expected it here`},
		{"a key is unknown", "title:", "titel:", `4:1: found the unknown key "titel", expected format, name, version, title, serial, frame, registers, check,`},
		{"a name with a capital", "name: good", "name: Good", `2:7: found the name "Good", expected at most 40 of a to z, 0 to 9 and -`},
		{"a name that is too long", "name: good", "name: g234567890123456789012345678901234567890x", `2:7: found the name "g234567890123456789012345678901234567890x", expected at most 40 of a to z, 0 to 9 and -`},
		{"a title of two lines", "title: A good file", `title: "A good\nfile"`, `4:8: found "A good\nfile", expected one line of text`},
		{"a title that is too long", "A good file", "A good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good good file", `4:8: found "A good good good good good good good good good good good goo", expected one line of text`},
		{"an empty version", `version: "1"`, `version: " "`, `3:10: found " ", expected one line of text`},
		{"no port", "serial: {baud: 9600, bits: 8, parity: none, stop: 1}\n", "", `1:1: found no key "serial", expected it here`},
		{"a baud rate in words", "baud: 9600", "baud: fast", `5:16: found "fast", expected a number from 110 to 4000000`},
		{"nine bits", "bits: 8", "bits: 9", `5:28: found "9", expected a number from 7 to 8`},
		{"an unknown parity", "parity: none", "parity: no", `5:39: found "no", expected none, odd, even, mark or space`},
		{"three stop bits", "stop: 1", "stop: 3", `5:51: found "3", expected 1, 1.5 or 2`},
		{"no stop bits", ", stop: 1", "", `5:9: found no key "stop", expected it here`},
		{"no frame", "frame: {end: CRLF, max: 128}\n", "", `1:1: found no key "frame", expected it here`},
		{"no fields", "fields:\n  lead: \"#\"\n  separator: \";\"\n  decimal: point\n  list:\n    - {kind: counter}\n    - {kind: torque, unit: N·m, decimals: 1}\n    - {kind: angle, optional: true}\n    - {kind: direction, tighten: R, loosen: L}\n", "", `1:1: found no key "fields", expected it here`},
	}},
	{"frame", "good", []fault{
		{"the names of two control characters as an ending", "end: CRLF", "end: LFCR", `6:14: found "LFCR", expected CRLF, CR, LF or any, or text in which control characters stand in angle`},
		{"the name of a control character as an ending", "end: CRLF", "end: ETX", `6:14: found "ETX", expected CRLF, CR, LF or any, or text in which control characters stand in angle brackets,`},
		{"an unknown control character", "end: CRLF", `end: "<ETB><ETY>"`, `6:14: found "<ETY>", expected the name of a control character or two hexadecimal digits in angle brackets,`},
		{"an angle bracket without an end", "end: CRLF", `end: "<"`, `6:14: found "<", expected the name of a control character or two hexadecimal digits in angle brackets, such`},
		{"an empty ending", "end: CRLF", `end: ""`, `6:14: found "", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"a control character in itself", "end: CRLF", `end: "\u0003"`, `6:14: found an escaped control character in "\x03", expected text`},
		{"no end of frame at all", "end: CRLF, ", "", `6:8: found no key "end", expected it here`},
		{"no longest length", ", max: 128", "", `6:8: found no key "max", expected it here`},
		{"a frame shorter than any reading", "max: 128", "max: 7", `6:25: found "7", expected a number from 8 to 512`},
		{"a frame longer than is kept", "max: 128", "max: 513", `6:25: found "513", expected a number from 8 to 512`},
		{"a start without an end", "frame: {end: CRLF, max: 128}", `frame: {start: "<STX>", max: 64}`, `6:8: found no key "end", expected it here`},
		{"check bytes behind the end of a line", "end: CRLF", "end: CRLF, after: 1", "6:20: found after, expected none: it has no meaning without start and end together"},
		{"a start that is the end", "frame: {end: CRLF, max: 128}", `frame: {start: "<STX>", end: "<02>", max: 64}`, "6:30: found <STX> for both start and end, expected two different ones"},
		{"too many check bytes", "frame: {end: CRLF, max: 128}", `frame: {start: "<STX>", end: "<ETX>", after: 9, max: 64}`, `6:46: found "9", expected a number from 0 to 8`},
		{"an end beside a length", "frame: {end: CRLF, max: 128}", "frame: {length: 40, end: CRLF}", "6:21: found end, expected none: the length says where the frame ends"},
		{"a longest length beside a length", "frame: {end: CRLF, max: 128}", "frame: {length: 40, max: 64}", "6:21: found max, expected none: the length says where the frame ends"},
		{"a length of one byte", "frame: {end: CRLF, max: 128}", "frame: {length: 1}", `6:17: found "1", expected a number from 2 to 512`},
		{"a length that is no number", "frame: {end: CRLF, max: 128}", "frame: {length: all}", `6:17: found "all", expected a number from 2 to 512`},
		{"an end beside a length field", "frame: {end: CRLF, max: 128}", `frame: {start: "<01>", length: {at: 1, as: u8}, end: CRLF, max: 64}`, "6:49: found end, expected none: the frame itself says where it ends"},
		{"a length field without a place", "frame: {end: CRLF, max: 128}", "frame: {length: {as: u8}, max: 64}", `6:17: found no key "at", expected it here`},
		{"a length field far behind", "frame: {end: CRLF, max: 128}", "frame: {length: {at: 65, as: u8}, max: 64}", `6:22: found "65", expected a number from 0 to 64`},
		{"a length field of another size", "frame: {end: CRLF, max: 128}", "frame: {length: {at: 0, as: u32}, max: 64}", `6:29: found "u32", expected u8 or u16`},
		{"a length field of one byte with an order", "frame: {end: CRLF, max: 128}", "frame: {length: {at: 0, as: u8, order: little}, max: 64}", "6:33: found order, expected none: a single byte has no order"},
		{"a length field with too much to add", "frame: {end: CRLF, max: 128}", "frame: {length: {at: 0, as: u8, plus: 513}, max: 64}", `6:39: found "513", expected a number from 0 to 512`},
		{"a length field inside of the start", "frame: {end: CRLF, max: 128}", `frame: {start: "<01><02>", length: {at: 1, as: u8}, max: 64}`, "6:41: found the length inside of the start, expected it behind"},
		{"a length field in the middle of text", "frame: {end: CRLF, max: 128}", `frame: {start: "<01>", length: {at: 3, as: u8}, max: 64}`, "6:37: found the length inside of the line, expected it right behind the start of the frame"},
		{"an end beside a gap", "frame: {end: CRLF, max: 128}", "frame: {gap: 40 ms, end: CRLF, max: 64}", "6:21: found end, expected none: a silence ends this frame"},
		{"a gap that is too short", "frame: {end: CRLF, max: 128}", "frame: {gap: 4 ms, max: 64}", `6:14: found "4 ms", expected a time from 5 ms to 1 s, such as 250 ms or 2 s`},
		{"a gap that is too long", "frame: {end: CRLF, max: 128}", "frame: {gap: 1.1 s, max: 64}", `6:14: found "1.1 s", expected a time from 5 ms to 1 s, such as 250 ms or 2 s`},
		{"a gap without a unit", "frame: {end: CRLF, max: 128}", "frame: {gap: 40, max: 64}", `6:14: found "40", expected a time from 5 ms to 1 s, such as 250 ms or 2 s`},
		{"a gap in minutes", "frame: {end: CRLF, max: 128}", "frame: {gap: 1 min, max: 64}", `6:14: found "1 min", expected a time from 5 ms to 1 s, such as 250 ms or 2 s`},
	}},
	{"check", "good", []fault{
		{"an unknown check", "kind: xor", "kind: crc", `7:15: found "crc", expected none, xor, sum, sum-negated, lrc, CRC-8/SMBUS, CRC-8/MAXIM-DOW, CRC-8/SAE-J1850,`},
		{"a check over nothing named", "over: inside, ", "", `7:8: found no key "over", expected it here`},
		{"an unknown span", "over: inside", "over: all", `7:26: found "all", expected inside, through or line`},
		{"a mark without a check", `kind: xor, over: inside, mark: "*"`, `kind: none, mark: "*"`, "7:21: found mark, expected none: there is no check"},
		{"a mark that is too long", `"*"`, `"*****************"`, `7:40: found "*****************", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"a mark that is not ASCII", `"*"`, `"×"`, `7:40: found "×", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"a check sent in other ways", `mark: "*"`, "sent: base64", `7:40: found "base64", expected hex or bytes`},
		{"an order that is no order", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: CRC-16/MODBUS, over: line, order: little}", `7:49: found "little", expected high first or low first`},
		{"an order of a single byte", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: line, sent: bytes, order: low first}", "7:45: found order, expected none: a single byte has no order"},
		{"a range without a beginning", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {to: 5}}", `7:26: found no key "from", expected it here`},
		{"a range that is empty", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 5, to: 5}}", "7:40: found a range that ends where it begins or before, expected at least one byte in it"},
		{"a range to the first byte", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 5, to: 0}}", "7:40: found a range that ends where it begins or before, expected at least one byte in it"},
		{"a range that ends before it begins", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: -4, to: -5}}", "7:41: found a range that ends where it begins or before, expected at least one byte in it"},
		{"a range outside of the longest frame", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 0, to: 129}}", "7:26: found a range outside of the frame, expected it within its 128 bytes"},
		{"a range that begins before the frame", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: -129, to: -5}}", "7:26: found a range outside of the frame, expected it within its 128 bytes"},
		{"a range that holds the check", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 0, to: -3}}", "7:26: found a range that holds the check itself, expected one beside it"},
		{"a range that is all of the frame", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 0}}", "7:26: found a range that holds the check itself, expected one beside it"},
		{"a place and a mark", `check: {kind: xor, over: inside, mark: "*"}`, `check: {kind: xor, over: {from: 2, to: -2}, at: 0, mark: "*"}`, "7:52: found mark, expected none: the check has a place of its own"},
		{"a place and a span", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: inside, at: 0}", "7:26: found inside, expected a range such as {from: 1, to: -2}: the check has a place of its own"},
		{"a place that its range holds", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 1, to: -2}, at: 0}", "7:26: found a range that holds the check itself, expected one beside it"},
		{"a place behind the longest frame", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 2, to: -2}, at: 127}", "7:49: found a check outside of the frame, expected it within its 128 bytes"},
		{"a place before the frame", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 2, to: -2}, at: -129}", "7:49: found a check outside of the frame, expected it within its 128 bytes"},
		{"a place half behind the end", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 2, to: -2}, at: -1}", "7:49: found a check outside of the frame, expected it within its 128 bytes"},
		{"a place in the middle of the line", `check: {kind: xor, over: inside, mark: "*"}`, "check: {kind: xor, over: {from: 5, to: -2}, at: 3}", "7:49: found a check inside of the line, expected it at its beginning or its end"},
	}},
	{"check of 7 bits", "columns", []fault{
		{"two bytes on a line of 7 bits", "after: 1, max: 64}\ncheck: {kind: xor", "after: 2, max: 64}\ncheck: {kind: CRC-16/MODBUS", "6:8: found a check of 2 bytes on a line of 7 bits, expected it to be sent as hex"},
		{"a check that is longer than what comes behind the end", "kind: xor, over: through", "kind: xor, over: through, sent: hex", "6:8: found a check of 2 bytes, expected the 1 that come after the end of the frame"},
		{"a mark of a check behind the end", "over: through", `over: through, mark: "*"`, "6:35: found mark, expected none: the end of the frame is the mark of a check behind it"},
	}},
	{"check of a fixed length", "binary fixed", []fault{
		{"a range that holds the check", "to: -2}", "to: 43}", "6:36: found a range that holds the check itself, expected one beside it"},
		{"a range behind the end", "to: -2}", "to: 45}", "6:36: found a range outside of the frame, expected it within its 44 bytes"},
	}},
	{"check of a frame that says its length", "binary counted", []fault{
		{"a range that holds the check", "over: {from: 3}", "over: {from: 1}", "6:34: found a range that holds the check itself, expected one beside it"},
		{"a check in the length", "over: {from: 3}, at: 2", "over: {from: 3}, at: 1", "6:49: found the check in the length of the frame, expected it beside"},
		{"a check in the start", "over: {from: 3}, at: 2", "over: {from: 3}, at: 0", "6:49: found the check in the start of the frame, expected it behind"},
	}},
	{"fields", "good", []fault{
		{"a separator that ends lines", `separator: ";"`, `separator: "\n"`, `10:14: found "\n", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"a separator that ends lines, by name", `separator: ";"`, `separator: "<CR>"`, `10:14: found "<CR>", expected no end of frame in it`},
		{"a lead that is empty", `lead: "#"`, `lead: ""`, `9:9: found "", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"a lead that ends lines", `lead: "#"`, `lead: "<LF>"`, `9:9: found "<LF>", expected no end of frame in it`},
		{"no form", "  separator: \";\"\n", "", "9:3: found none of separator, columns, pattern, json or binary, expected one of them"},
		{"two forms", "  separator: \";\"\n", "  separator: \";\"\n  json: true\n", "11:3: found json beside separator, expected one of them"},
		{"columns that are not", `separator: ";"`, "columns: false", `10:12: found "false", expected true`},
		{"a decimal sign in words", "decimal: point", "decimal: dot", `11:12: found "dot", expected point or comma`},
		{"a decimal comma between commas", "separator: \";\"\n  decimal: point", "separator: \",\"\n  decimal: comma", "11:12: found a decimal comma, expected a point: the comma separates the fields"},
		{"a field with a decimal comma between commas", "separator: \";\"\n  decimal: point\n  list:\n    - {kind: counter}", "separator: \",\"\n  decimal: point\n  list:\n    - {kind: counter}\n    - {kind: battery, decimal: comma}", "14:32: found a decimal comma, expected a point: the comma separates the fields"},
		{"an order of text", "  decimal: point", "  order: big", "11:3: found order, expected none: only binary fields have one"},
		{"fields that are no list", "  list:\n    - {kind: counter}\n    - {kind: torque, unit: N·m, decimals: 1}\n    - {kind: angle, optional: true}\n    - {kind: direction, tighten: R, loosen: L}\n", "  list: all\n", `12:9: found the text "all", expected a list`},
		{"fields that are not there", "  list:\n    - {kind: counter}\n    - {kind: torque, unit: N·m, decimals: 1}\n    - {kind: angle, optional: true}\n    - {kind: direction, tighten: R, loosen: L}\n", "", `9:3: found no key "list", expected it here`},
		{"too many fields", "    - {kind: counter}\n", "    - {kind: counter}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n    - {kind: unread}\n", "13:5: found 49 fields, expected at most 48"},
		{"a field without a kind", "{kind: counter}", "{name: count}", `13:7: found no key "kind", expected it here`},
		{"a field of an unknown kind", "kind: counter", "kind: count", `13:14: found "count", expected torque, unit, angle, direction, counter, clock, serial, tag, preset,`},
		{"two fields of a kind", "{kind: counter}", "{kind: counter}\n    - {kind: counter}", "14:14: found a second counter field, expected one"},
		{"a setting of another kind", "{kind: counter}", "{kind: counter, decimals: 1}", `13:23: found the unknown key "decimals", expected name, kind, optional or none`},
		{"a place between separators", "{kind: counter}", "{kind: counter, at: 1}", `13:23: found the unknown key "at", expected name, kind, optional or none`},
		{"an optional torque", "decimals: 1", "optional: true", `14:33: found the unknown key "optional", expected name, kind, unit, decimals, decimal, scale or minus`},
		{"optional in other words", "optional: true", "optional: yes", `15:31: found "yes", expected true or false`},
		{"a text for nothing with a blank", "optional: true", `none: "- -  "`, `15:27: found "- -  ", expected 1 to 16 characters without blanks around them; control characters by name,`},
		{"too many decimals", "decimals: 1", "decimals: 7", `14:43: found "7", expected a number from 0 to 6`},
		{"a minus of another sense", "decimals: 1", "minus: tightens", `14:40: found "tightens", expected refused or loosens`},
		{"a torque below zero", "decimals: 1", "minus: kept", `14:40: found "kept", expected refused or loosens`},
		{"a unit of angle that is none", "optional: true", "unit: rad", `15:27: found "rad", expected deg or °`},
		{"a scale of nothing", "decimals: 1", "scale: 0", `14:40: found "0", expected a decimal number above 0 of at most 9 digits, such as 0.01`},
		{"a scale with an exponent", "decimals: 1", "scale: 1e-3", `14:40: found "1e-3", expected a decimal number above 0 of at most 9 digits, such as 0.01`},
		{"a scale of too many digits", "decimals: 1", "scale: 0.3333333333", `14:40: found "0.3333333333", expected a decimal number above 0 of at most 9 digits, such as 0.01`},
		{"one letter for both directions", "loosen: L", "loosen: R", `16:45: found "R" for both tighten and loosen, expected two different ones`},
		{"no letter for a direction", ", loosen: L", "", `16:7: found no key "loosen", expected it here`},
		{"a letter with a blank", "loosen: L", `loosen: " L"`, `16:45: found " L", expected 1 to 16 characters without blanks around them; control characters by name, such`},
		{"no torque", "    - {kind: torque, unit: N·m, decimals: 1}\n", "", "13:5: found no torque field, expected one"},
		{"no unit of torque", "unit: N·m, ", "", "13:5: found no unit of torque, expected a unit field or a unit at the torque field"},
		{"an unknown unit", "unit: N·m", "unit: N/m", `14:28: unknown unit of torque "N/m": write N·m, dN·m, cN·m, mN·m, lbf·ft, lbf·in, ozf·in, kgf·m, kgf·cm or`},
		{"two units of torque", "{kind: counter}", "{kind: counter}\n    - {kind: unit, spelled: {Nm: N·m}}", "13:5: found a unit field and a unit at the torque field, expected one of them"},
		{"a unit field without spellings", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {}}", "15:29: found no spelling, expected at least one, such as {Nm: N·m}"},
		{"a spelling with a blank", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {\" Nm\": N·m}}", `15:30: found " Nm", expected 1 to 16 characters without blanks around them; control characters by name, such`},
		{"a spelling that is too long", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {newtonmetres-and-more: N·m}}", `15:30: found "newtonmetres-and-more", expected 1 to 16 characters without blanks around them; control`},
		{"a spelling of an unknown unit", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {Nm: N·m, X: yards}}", `15:42: unknown unit of torque "yards": write N·m, dN·m, cN·m, mN·m, lbf·ft, lbf·in, ozf·in, kgf·m, kgf·cm or`},
		{"a spelling of an unknown judgement", "{kind: counter}", "{kind: counter}\n    - {kind: judgement, spelled: {OK: good}}", `14:39: found "good", expected pass, low, high or fail`},
		{"two spellings that are the same on the wire", "{kind: counter}", "{kind: counter}\n    - {kind: judgement, spelled: {A: pass, \"<41>\": fail}}", `14:44: found "<41>", expected it once: it stands for pass already`},
		{"a direction told twice", "decimals: 1", "minus: loosens", "13:5: found a direction field and a minus that loosens, expected one of them"},
		{"a direction told by the angle too", "optional: true", "minus: loosens", "13:5: found a direction field and a minus that loosens, expected one of them"},
		{"one letter for yes and no", "{kind: counter}", "{kind: counter}\n    - {kind: stored, yes: M, no: M}", `14:34: found "M" for both yes and no, expected two different ones`},
		{"no letter for no", "{kind: counter}", "{kind: counter}\n    - {kind: stored, yes: M}", `14:7: found no key "no", expected it here`},
		{"a fixed text that is not said", "{kind: counter}", "{kind: counter}\n    - {kind: fixed}", `14:7: found no key "is", expected it here`},
		{"a fixed text that is too long", "{kind: counter}", "{kind: counter}\n    - {kind: fixed, is: xxxxxxxxxxxxxxxxx}", `14:25: found "xxxxxxxxxxxxxxxxx", expected 1 to 16 characters without blanks around them; control characters`},
		{"an epoch of text", "{kind: counter}", "{kind: counter}\n    - {kind: clock, epoch: unix}", `14:21: found the unknown key "epoch", expected name, kind, optional or none`},
		{"a field that is never empty", `separator: ";"`, `separator: " "`, "15:31: found optional, expected none with it: here the place of a field is never empty"},
		{"a separator that a fixed text holds", "{kind: counter}", "{kind: counter}\n    - {kind: fixed, is: \"a;b\"}", `14:25: found "a;b", expected a text without the separator in it`},
	}},
	{"columns", "columns", []fault{
		{"columns that overlap", "at: 7..14", "at: 5..14", "12:26: found torque where counter stands, expected a place of its own"},
		{"a column before the first", "at: 1..5", "at: 0..5", `11:27: found "0..5", expected the first and the last column, counted from 1, such as 3..9`},
		{"columns from right to left", "at: 1..5", "at: 5..1", `11:27: found "5..1", expected the first and the last column, counted from 1, such as 3..9`},
		{"columns in words", "at: 1..5", "at: first", `11:27: found "first", expected the first and the last column, counted from 1, such as 3..9`},
		{"a column without a place", "at: 24, ", "", `14:7: found no key "at", expected it here`},
		{"a column behind the frame", "at: 25..30", "at: 59..64", "15:23: found tag outside of the frame, expected it within its 64 bytes"},
		{"a column behind everything", "at: 25..30", "at: 500..513", `15:23: found "500..513", expected the first and the last column, counted from 1, such as 3..9`},
		{"a column in the lead", "  columns: true\n", "  columns: true\n  lead: \"R\"\n", "12:27: found counter where the lead stands, expected a place of its own"},
		{"a number in bytes", "at: 24", "at: 24, as: u8", `14:29: found the unknown key "as", expected name, kind, at or is`},
		{"a text that is longer than its column", `is: "T"`, `is: "TX"`, `14:33: found "TX", expected a text that has room in 1 column`},
		{"a spelling that is longer than its column", "P: pass", "PASS: pass", `16:43: found "PASS", expected a text that has room in 1 column`},
	}},
	{"pattern", "pattern", []fault{
		{"a pattern that cannot be read", "(?i:tool)", "(?i:tool", "7:12: found a pattern that cannot be read: error parsing regexp: missing closing ): `(?i:tool"},
		{"a pattern with too many groups", "(?i:tool)", "(?i:tool)" + strings.Repeat("()", 48), "7:12: found a pattern that cannot be read: 55 groups, expected at most 48"},
		{"a pattern of too many steps", "(?i:tool)", "(?:[a-z]{1,40}){1,40}", "7:12: found a pattern that cannot be read: "},
		{"a group without a field", "(?i:tool)", "(?P<tool>tool)", `7:12: found the group "tool", expected a field of that name`},
		{"a field without a group", "(?P<serial>", "(", `9:7: found no group "serial" in the pattern, expected one for this field`},
		{"a group that stands twice", "(?i:tool)", "(?P<tag>tool)", `7:12: found the group "tag" again, expected it once`},
	}},
	{"JSON", "json", []fault{
		{"two fields of one value", "at: result.angle", "at: n", "13:36: found n where angle stands, expected a place of its own"},
		{"a field inside the value of another", "at: result.angle", "at: n.angle", "13:36: found n where angle stands, expected a place of its own"},
		{"a field around the value of another", "at: tag,", "at: result,", "16:34: found tag where torque stands, expected a place of its own"},
		{"a path with an empty key", "at: n}", "at: n..m}", `13:36: found "n..m", expected the keys to the value with points between them, such as result.torque`},
		{"a path that is too deep", "at: n}", "at: a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.n}", `13:36: found "a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.n", expected the keys to the value with points between them,`},
		{"a field without a path", "kind: counter, at: n}", "kind: counter}", `13:7: found no key "at", expected it here`},
	}},
	{"binary", "binary fixed", []fault{
		{"bytes that overlap", "at: 6, as: i32", "at: 4, as: i32", "12:26: found torque where counter stands, expected a place of its own"},
		{"a field in the start", "at: 2, as: u32", "at: 1, as: u32", "11:27: found counter where the start of the frame stands, expected a place of its own"},
		{"a field in the check", "at: 36, as: u32", "at: 40, as: u32", "22:26: found unread where the check stands, expected a place of its own"},
		{"a field behind the frame", "at: 36, as: u32", "at: 44, as: u32", "22:26: found unread outside of the frame, expected it within its 44 bytes"},
		{"an unknown number", "as: u32, epoch", "as: u24, epoch", `17:33: found "u24", expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd8 or text1 to text64`},
		{"packed digits of no byte", "as: bcd2", "as: bcd0", `21:34: found "bcd0", expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd8 or text1 to text64`},
		{"too many packed digits", "as: bcd2", "as: bcd9", `21:34: found "bcd9", expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd8 or text1 to text64`},
		{"a text of no number", "as: text6", "as: text", `19:31: found "text", expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd8 or text1 to text64`},
		{"a text that is too long", "as: text6", "as: text65", `19:31: found "text65", expected u8, i8, u16, i16, u32, i32, f32, f64, bcd1 to bcd8 or text1 to text64`},
		{"a number without a place", "at: 2, as: u32", "as: u32", `11:7: found no key "at", expected it here`},
		{"a number without a size", "at: 2, as: u32", "at: 2", `11:7: found no key "as", expected it here`},
		{"an unknown order", "order: little", "order: middle", `9:10: found "middle", expected big or little`},
		{"word-swapped 16 bits", "as: i16, scale: 0.1, order: big", "as: i16, scale: 0.1, order: word-swapped", "13:57: found word-swapped, expected a number of 32 bits with it"},
		{"word-swapped for all", "order: little", "order: word-swapped", `9:10: found "word-swapped", expected big or little`},
		{"bits of a number below zero", "as: i16, scale", "as: i16, bit: 0, scale", "13:43: found bits of a number that is none of u8, u16 and u32, expected one of these"},
		{"bits that the number has not", "bit: 7", "bit: 8", "15:43: found bits outside of the number, expected one of 0 to 7 or a range such as 0..2"},
		{"bits from high to low", "bit: 0..2", "bit: 2..0", "14:46: found bits outside of the number, expected one of 0 to 7 or a range such as 0..2"},
		{"a number in the bits of another", "as: u8, bit: 7", "as: u8", "15:26: found stored where judgement stands, expected a place of its own"},
		{"bits that overlap", "bit: 7", "bit: 2", "15:26: found stored where judgement stands, expected a place of its own"},
		{"a float for a counter", "at: 2, as: u32", "at: 2, as: f32", "11:34: found a float for counter, expected a whole number or text"},
		{"a number for the clock", "as: u32, epoch: unix", "as: u32", "17:33: found a number for the clock, expected bcdN or textN, or epoch: unix with u32"},
		{"an epoch of another size", "as: u32, epoch: unix", "as: u16, epoch: unix", "17:33: found an epoch, expected u32 with it"},
		{"an unknown epoch", "epoch: unix", "epoch: gps", `17:45: found "gps", expected unix`},
		{"an optional number without a text for nothing", `none: "255"`, "optional: true", "16:49: found optional, expected none with it: here the place of a field is never empty"},
		{"a text for nothing that is no number", `none: "255"`, `none: "--"`, `16:45: found "--", expected what its bytes can say: a whole number in their range, such as 7`},
		{"a spelling that no byte says", `"1": pass`, "OK: pass", `14:62: found "OK", expected what its bytes can say: a whole number in their range, such as 7`},
		{"a spelling that its bits cannot say", `"4": fail`, `"8": fail`, `14:94: found "8", expected what its bytes can say: a whole number in their range, such as 7`},
		{"a text for nothing beyond the range of the number", `none: "-32768"`, `none: "-32769"`, `13:84: found "-32769", expected what its bytes can say: a whole number in their range, such as 7`},
		{"a spelling with a nought in front", `yes: "1"`, `yes: "01"`, `15:51: found "01", expected what its bytes can say: a whole number in their range, such as 7`},
		{"decimals of a whole number", "as: i32, scale: 0.01", "as: i32, scale: 0.01, decimals: 2", "12:51: found decimals, expected none: whole numbers have no point"},
		{"a lead", "  binary: true\n", "  binary: true\n  lead: x\n", "9:3: found lead, expected none: binary frames begin with the start of the frame"},
		{"a frame with an end", "frame: {start: \"<A5><5A>\", length: 44}\ncheck: {kind: CRC-16/MODBUS, over: {from: 2, to: -2}, order: low first}", `frame: {start: "<A5><5A>", end: "<ETX>", max: 60}`, "7:11: found binary fields in a frame with an end, expected a length or a gap: the bytes of a number may look"},
	}},
	{"text in bytes", "binary counted", []fault{
		{"a text for nothing that no float says", "none: NaN", "none: x", `12:56: found "x", expected what its bytes can say: a number with the fewest digits, or NaN`},
		{"a text for nothing of too few packed digits", "as: bcd3", `as: bcd3, none: "0"`, `14:47: found "0", expected what its bytes can say: all its digits, such as 000007`},
	}},
	{"a length field", "binary counted", []fault{
		{"a field that leaves no room for the check", `max: 64}
check: {kind: sum-negated, over: {from: 3}, at: 2}`, `max: 21}
check: {kind: CRC-16/MODBUS, over: line}`, "14:27: found counter outside of the frame, expected it within its 21 bytes"},
		{"a field in the length", "at: 3, as: u8", "at: 1, as: u8", "10:24: found unit where the length of the frame stands, expected a place of its own"},
	}},
	{"answers", "good", []fault{
		{"an ignored beginning of a reading", `["!"]`, `["!", "#"]`, `17:15: found "#", expected a beginning that no reading has`},
		{"an empty ignored beginning", `["!"]`, `[""]`, `17:10: found "", expected 1 to 16 ASCII characters; control characters by name, such as <STX>`},
		{"an ignored beginning that is no list", `["!"]`, `"!"`, `17:9: found the text "!", expected a list`},
		{"an ignored beginning that holds the end", `["!"]`, `["!<CR>"]`, `17:10: found "!<CR>", expected no end of frame in it`},
		{"an ignored beginning behind a shorter one", `["!"]`, `["!", "!!"]`, `17:15: found "!!", expected a beginning that is not ignored already by "!"`},
		{"an ignored beginning before a shorter one", `["!"]`, `["!!", "!"]`, `17:16: found "!", expected it before or instead of the longer "!!"`},
		{"an acknowledgement of something unknown", "%counter%", "%torque%", "18:6: found %torque%, expected %counter%, %serial% or %tag%"},
		{"an acknowledgement with one percent sign", "%counter%", "%counter", `18:6: found "=%counter", expected ASCII text in which %counter%, %serial% and %tag% stand for the reading's`},
		{"an acknowledgement that is not ASCII", "=%counter%", "§%counter%", `18:6: found "§", expected ASCII text`},
		{"an acknowledgement with an unknown control character", "=%counter%", "<AKC>%counter%", `18:6: found "<AKC>", expected the name of a control character or two hexadecimal digits in angle brackets,`},
		{"an acknowledgement that is empty", `"=%counter%"`, `""`, `18:6: found "", expected ASCII text in which %counter%, %serial% and %tag% stand for the reading's own and %%`},
		{"an acknowledgement that is a list", `"=%counter%"`, "[a]", "18:6: found a list, expected text"},
		{"an acknowledgement of a field that may be empty", "{kind: counter}", "{kind: counter, optional: true}", "18:6: found %counter%, expected a field of that kind that is not optional"},
		{"an acknowledgement of a field that is not there", "%counter%", "%tag%", "18:6: found %tag%, expected a field of that kind that is not optional"},
		{"an acknowledgement in both forms", `ack: "=%counter%"`, "ack: \"=%counter%\"\nanswers: {accepted: \"=%counter%\"}", "18:1: found ack beside answers, expected accepted among the answers"},
		{"an unknown answer", `ack: "=%counter%"`, `answers: {yes: "G"}`, `18:11: found the unknown key "yes", expected accepted, refused, pass, fail or raw`},
		{"a refusal that repeats something", `ack: "=%counter%"`, `answers: {refused: "?%counter%"}`, "18:20: found %counter%, expected none: nothing can be repeated of a broken frame"},
		{"a verdict that repeats something optional", `ack: "=%counter%"`, `answers: {pass: "G%tag%", fail: B}`, "18:17: found %tag%, expected a field of that kind that is not optional"},
		{"raw in other words", `ack: "=%counter%"`, "answers: {accepted: G, raw: yes}", `18:29: found "yes", expected true or false`},
		{"a command that is empty", `ack: "=%counter%"`, `send: {start: [""]}`, `18:16: found "", expected 1 to 200 characters`},
		{"a command that is too long", `ack: "=%counter%"`, `send: {start: ["xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"]}`, `18:16: found "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx", expected 1 to 200 characters`},
		{"commands that are no list", `ack: "=%counter%"`, "send: {start: MODE}", `18:15: found the text "MODE", expected a list`},
		{"a poll without a text", `ack: "=%counter%"`, "send: {poll: {every: 1 s}}", `18:14: found no key "text", expected it here`},
		{"a poll without a time", `ack: "=%counter%"`, `send: {poll: {text: "D?"}}`, `18:14: found no key "every", expected it here`},
		{"a poll that is too fast", `ack: "=%counter%"`, `send: {poll: {text: "D?", every: 19 ms}}`, `18:34: found "19 ms", expected a time from 20 ms to 3600 s, such as 250 ms or 2 s`},
		{"a sign of life that is too slow", `ack: "=%counter%"`, `send: {alive: {text: "<ENQ>", every: 3601 s}}`, `18:38: found "3601 s", expected a time from 20 ms to 3600 s, such as 250 ms or 2 s`},
	}},
	{"answers of other frames", "columns", []fault{
		{"an end of line where there are none", "check: {", "answers: {accepted: \"<ACK>\", raw: false}\ncheck: {", "6:35: found false, expected true: only lines have an end that is written behind them"},
	}},
	{"answers without a check", "pattern", []fault{
		{"a refusal", "fields:\n", "answers: {refused: \"<NAK>\"}\nfields:\n", "6:20: found refused, expected a check with it: without one nothing says that a frame came broken"},
	}},
	{"ignored frames", "binary fixed", []fault{
		{"the beginning of every frame", "fields:\n", "ignore: [\"<A5>\"]\nfields:\n", `7:10: found "<A5>", expected a beginning that no reading has`},
	}},
	{"registers", "registers", []fault{
		{"a frame beside registers", "fields:\n", "frame: {length: 16}\nfields:\n", "5:1: found frame, expected none: registers are read instead"},
		{"a check beside registers", "fields:\n", "check: {kind: none}\nfields:\n", "5:1: found check, expected none: registers are read instead"},
		{"answers beside registers", "fields:\n", "answers: {accepted: G}\nfields:\n", "5:1: found answers, expected none: registers are read instead"},
		{"a unit that there is not", "unit: 1", "unit: 256", `4:19: found "256", expected a number from 0 to 255`},
		{"a unit that is reserved", "unit: 1", "unit: 248", "4:19: found unit 248, expected 1 to 247; over TCP also 0 or 255"},
		{"a table that there is not", "table: holding", "table: coils", `4:29: found "coils", expected holding or input`},
		{"too many registers", "count: 8", "count: 126", `4:56: found "126", expected a number from 1 to 125`},
		{"registers behind the last", "from: 100", "from: 65530", "4:58: found 8 registers from 65530, expected none beyond 65535"},
		{"a register too often", "every: 200 ms", "every: 10 ms", `4:66: found "10 ms", expected a time from 20 ms to 60 s, such as 250 ms or 2 s`},
		{"a change of nothing", "changes: count, ", "", `4:12: found no key "changes", expected it here`},
		{"a change of another field", "changes: count", "changes: torque", `4:83: found "torque", expected the name of the counter field`},
		{"a field behind the registers", "at: 12, as: text4", "at: 14, as: text4", "12:34: found tag outside of the frame, expected it within its 16 bytes"},
		{"an answer without a register", "{register: 200, value: counter}", "{value: counter}", `4:100: found no key "register", expected it here`},
		{"an answer without a value", "{register: 200, value: counter}", "{register: 200}", `4:100: found no key "value", expected it here`},
		{"an answer of a value that is none", "value: counter", "value: count", `4:123: found "count", expected a number from 0 to 65535, or counter`},
		{"an answer of a counter that may be nothing", "at: 0, as: u32, order: word-swapped", `at: 0, as: u32, order: word-swapped, none: "0"`, "4:123: found counter, expected a counter field that is not optional"},
		{"fields that are no numbers", "  binary: true\n  list:\n    - {name: count, kind: counter, at: 0, as: u32, order: word-swapped}\n    - {name: torque, kind: torque, at: 4, as: f32, order: word-swapped, unit: N·m}\n    - {name: angle, kind: angle, at: 8, as: i16, scale: 0.1}\n    - {name: way, kind: direction, at: 10, as: u16, tighten: \"0\", loosen: \"1\"}\n    - {name: tag, kind: tag, at: 12, as: text4, optional: true}\n", "  separator: \";\"\n  list: [{kind: torque, unit: N·m}, {kind: counter, name: count}]\n", "4:12: found fields by separator, expected binary ones: registers hold numbers"},
	}},
}

// Each case breaks one thing in a good file; the fault must stand alone and at its place.
func TestParse_EveryFaultAtItsPlace(t *testing.T) {
	for _, group := range faultTable {
		base := formTexts[group.base]
		if group.base == "good" {
			base = goodFile
		}
		for _, c := range group.rows {
			t.Run(group.name+"/"+c.rule, func(t *testing.T) {
				text := strings.Replace(base, c.old, c.new, 1)
				if text == base {
					t.Fatalf("%q does not stand in the file", c.old)
				}
				p, err := Parse("bad.yaml", []byte(text))
				faults, ok := errors.AsType[strictyaml.Faults](err)
				if !ok || p != nil || len(faults) != 1 {
					t.Fatalf("got %v, %v, want one fault and no profile", p, err)
				}
				if got := faults[0].String(); !strings.HasPrefix(got, "bad.yaml:"+c.want) {
					t.Errorf("got  %s\nwant bad.yaml:%s", got, c.want)
				}
			})
		}
	}
}
