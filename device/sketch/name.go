package sketch

import "fmt"

// names are the control characters that have a name in a profile, after ISO 646.
var names = map[byte]string{
	'\x01': "SOH", '\x02': "STX", '\x03': "ETX", '\x04': "EOT", '\x05': "ENQ", '\x06': "ACK", '\t': "TAB", '\n': "LF",
	'\r': "CR", '\x15': "NAK", '\x1b': "ESC",
}

// Name is a byte as a profile writes it: a printable character stands for itself, a control character by its name,
// any other byte as two hexadecimal digits, the last two in angle brackets.
func Name(c byte) string {
	if name, ok := names[c]; ok {
		return "<" + name + ">"
	}
	if c < ' ' || c > '~' {
		return fmt.Sprintf("<%02X>", c)
	}
	return string(rune(c))
}
