package profile

import (
	"bytes"
)

// blank is a separator of which several in a row count as one.
const blank = ' '

func (fs *fields) blanks() bool { return len(fs.separator) == 1 && fs.separator[0] == blank }

// findSeparated cuts the line where the separators stand.
func (fs *fields) findSeparated(f []byte, from, to int, all *spans) *refusal {
	if fs.blanks() {
		s := trim(f[:to], spanOf(from, to))
		from = to - len(bytes.TrimLeft(f[from:to], " "))
		to = from + len(s)
	}
	for i := range fs.list {
		if from > to {
			return badForm("found %d fields, expected %d", i, len(fs.list))
		}
		end, next := fs.cut(f, from, to)
		all[i] = spanOf(from, end)
		from = next
	}
	if from <= to {
		found := len(fs.list)
		for ; from <= to; found++ {
			_, from = fs.cut(f, from, to)
		}
		return badForm("found %d fields, expected %d", found, len(fs.list))
	}
	return nil
}

// cut gives the end of the field at from, and where the next one begins: behind the end of the line if there is none.
func (fs *fields) cut(f []byte, from, to int) (end, next int) {
	var i int
	if len(fs.separator) == 1 {
		i = bytes.IndexByte(f[from:to], fs.separator[0])
	} else {
		i = bytes.Index(f[from:to], fs.separator)
	}
	if i < 0 {
		return to, to + 1
	}
	end = from + i
	next = end + len(fs.separator)
	for fs.blanks() && next < to && f[next] == blank {
		next++
	}
	return end, next
}
