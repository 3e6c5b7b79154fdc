package frame

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"witnessmark/device"
)

func collect(into *[]string) func(Frame) {
	return func(f Frame) { *into = append(*into, shown(f)) }
}

func shown(f Frame) string { return fmt.Sprintf("%q %s", f.Bytes, f.Fault) }

func run(f *Framer, chunks ...[]byte) (got []string) {
	for _, c := range chunks {
		f.Push(c, collect(&got))
	}
	if tail, ok := f.End(); ok {
		got = append(got, shown(tail))
	}
	return got
}

func TestFramer_Lines(t *testing.T) {
	long := strings.Repeat("x", 40)
	endless := strings.Repeat("y", 3*device.MaxRaw)
	for _, c := range []struct {
		rule  string
		end   Ending
		input string
		want  []string
	}{
		{"a line ends with its ending only", CRLF, "a\rb\nc\r\nd\r\n", []string{`"a\rb\nc\r\n" `, `"d\r\n" `}},
		{"LF", LF, "a\nb\r\n", []string{`"a\n" `, `"b\r\n" `}},
		{"CR", CR, "a\rb\r", []string{`"a\r" `, `"b\r" `}},
		{"any ending", AnyEnd, "a\rb\nc\r\nd\r\n", []string{`"a\r" `, `"b\n" `, `"c\r" `, `"d\r" `}},
		{"empty lines are passed over", CRLF, "\r\n\r\na\r\n\r\n", []string{`"a\r\n" `}},
		{"a tail without an end is torn", CRLF, "a\r\nb", []string{`"a\r\n" `, `"b" torn`}},
		{"half an ending is torn too", CRLF, "b\r", []string{`"b\r" torn`}},
		{"an empty tail is nothing", CRLF, "a\r\n\r", []string{`"a\r\n" `}},
		{"a NUL spoils its line only", LF, "a\x00b\nc\n", []string{`"a\x00b\n" nul byte`, `"c\n" `}},
		{"a line at the limit is good", LF, long[:31] + "\n", []string{fmt.Sprintf("%q ", long[:31]+"\n")}},
		{"a line over the limit is too long", LF, long[:32] + "\na\n", []string{fmt.Sprintf("%q too long", long[:32]+"\n"), `"a\n" `}},
		{"a tail over the limit is too long", LF, long, []string{fmt.Sprintf("%q too long", long)}},
		{"an endless line is one fault and the next line is good", CRLF, endless + "\r\nb\r\n",
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw]), `"b\r\n" `}},
		{"an endless line without an end is one fault", CRLF, endless,
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw])}},
		{"an ending across the limit of memory is seen", CRLF, endless[:device.MaxRaw-1] + "\r\nb\r\n",
			[]string{fmt.Sprintf("%q too long", endless[:device.MaxRaw-1]+"\r"), `"b\r\n" `}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if got := run(NewLine(c.end, 32), []byte(c.input)); !slices.Equal(got, c.want) {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}
