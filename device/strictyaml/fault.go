package strictyaml

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Fault is one thing wrong in a file: where, what was found and what was expected. Line and Column count from 1;
// a column is a character, not a byte.
type Fault struct {
	File         string
	Line, Column int
	Message      string
}

// String writes "file:line:column: message".
func (f Fault) String() string {
	return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Message)
}

// Faults is everything that is wrong in a file, in the order of the file.
type Faults []Fault

// Error writes a line for each fault.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i := range f {
		lines[i] = f[i].String()
	}
	return strings.Join(lines, "\n")
}

// maxFaults bounds what a file that is not one of ours at all can make us keep and print.
const maxFaults = 1000

func (d *Doc) fault(line, column int, format string, args ...any) {
	if len(d.faults) < maxFaults {
		d.faults = append(d.faults, Fault{d.file, line, column, fmt.Sprintf(format, args...)})
		return
	}
	d.more++
}

// Err is nil, or Faults with every fault that was found so far, sorted by place. The same fault at the same place
// stands once, however often its node was read.
func (d *Doc) Err() error {
	if len(d.faults) == 0 {
		return nil
	}
	all := slices.Clone(d.faults)
	slices.SortStableFunc(all, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	unique := all[:0]
	for _, f := range all {
		if !slices.Contains(unique[samePlace(unique, f):], f) {
			unique = append(unique, f)
		}
	}
	if d.more > 0 {
		last := unique[len(unique)-1]
		unique = append(unique, Fault{d.file, last.Line, last.Column, fmt.Sprintf("and %d more faults", d.more)})
	}
	return unique
}

// samePlace is the index from which the sorted faults stand where f does.
func samePlace(faults Faults, f Fault) int {
	i := len(faults)
	for i > 0 && faults[i-1].Line == f.Line && faults[i-1].Column == f.Column {
		i--
	}
	return i
}
