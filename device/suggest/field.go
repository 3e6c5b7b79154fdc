package suggest

import (
	"fmt"
	"strings"

	"witnessmark/device/sketch"
)

// field is a column with the meaning that it was found to have.
type field struct {
	column
	kind     string
	name     string
	settings []string // of the kind, as a profile writes them
	told     string   // what was found, a sentence without its full stop
}

// list is the lines of a profile that list the fields, each with a comment above it.
func list(fields []field) []string {
	lines := []string{"  list:"}
	for _, f := range fields {
		parts := []string{"name: " + safe(f.name), "kind: " + f.kind}
		if f.place != "" {
			parts = append(parts, f.place)
		}
		parts = append(parts, f.settings...)
		lines = append(lines, comment("    # ", f.told)...)
		lines = append(lines, "    - {"+strings.Join(parts, ", ")+"}")
	}
	return lines
}

// commentWidth is up to where comments go.
const commentWidth = 100

// comment breaks a sentence into lines of a comment.
func comment(indent, text string) (lines []string) {
	line := ""
	for _, word := range strings.Split(text, " ") {
		if line != "" && len([]rune(indent+line))+1+len([]rune(word)) > commentWidth {
			lines, line = append(lines, indent+line), " "
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, indent+line)
}

// quoted is bytes on the wire as a profile writes them.
func quoted(b []byte) string {
	var s strings.Builder
	for _, c := range b {
		switch c {
		case '"', '\\':
			s.WriteByte('\\')
			s.WriteByte(c)
		case '<':
			s.WriteString("<3C>") // it begins a name otherwise
		default:
			s.WriteString(sketch.Name(c))
		}
	}
	return `"` + s.String() + `"`
}

// safe is text in a map between braces, in quotes where it needs them.
func safe(text string) string {
	if text != "" && strings.Trim(text, "abcdefghijklmnopqrstuvwxyz·") == "" && text != "true" && text != "false" && text != "null" && text != "yes" && text != "no" {
		return text
	}
	return fmt.Sprintf("%q", text)
}

// sayTexts lists a few of the texts that stand in a column.
func sayTexts(texts []string) string {
	const most = 3
	var said []string
	for _, t := range texts[:min(len(texts), most)] {
		said = append(said, fmt.Sprintf("%.24q", t))
	}
	if len(texts) > most {
		return strings.Join(said, ", ") + fmt.Sprintf(" and %d more", len(texts)-most)
	}
	return strings.Join(said, ", ")
}
