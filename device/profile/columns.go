package profile

// findColumns looks at the places of the fields, counted from where the line begins. A line that is too short, or
// holds more than the fields, has lost or gained bytes: every column in it may be wrong.
func (fs *fields) findColumns(f []byte, from, to int, all *spans) *refusal {
	for to > from+fs.reach && f[to-1] == ' ' {
		to--
	}
	if n := to - from; n < fs.needs || n > fs.reach {
		return badForm("found a line of %d columns, expected %s", n, fs.columns())
	}
	for i := range fs.list {
		at := fs.list[i].at
		all[i] = spanOf(min(from+int(at.from), to), min(from+int(at.to), to))
	}
	return nil
}

func (fs *fields) columns() string {
	if fs.needs == fs.reach {
		return plural(fs.reach)
	}
	return plural(fs.needs) + " to " + plural(fs.reach)
}
