package bench

import (
	"fmt"
	"reflect"
	"strings"
)

// meaning is counted up when a snapshot means something else by the same fields.
const meaning = 1

// SnapshotForm is the form of a snapshot, and of further types that are put away beside it, as a text: another one wherever
// a field is another. A snapshot may be read where the form is the one that it was written in.
func SnapshotForm(beside ...any) string {
	var out strings.Builder
	fmt.Fprintf(&out, "%d", meaning)
	seen := map[reflect.Type]bool{}
	for _, v := range append(beside, snapshot{}) {
		form(&out, reflect.TypeOf(v), seen)
	}
	return out.String()
}

func form(out *strings.Builder, t reflect.Type, seen map[reflect.Type]bool) {
	fmt.Fprintf(out, " %s %s", t, t.Kind())
	if seen[t] || t.PkgPath() != "" && !strings.HasPrefix(t.PkgPath(), "witnessmark/") {
		return
	}
	seen[t] = true
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			fmt.Fprintf(out, " %s %q", f.Name, f.Tag)
			form(out, f.Type, seen)
		}
	case reflect.Map:
		form(out, t.Key(), seen)
		form(out, t.Elem(), seen)
	case reflect.Slice, reflect.Array, reflect.Pointer:
		form(out, t.Elem(), seen)
	}
}
