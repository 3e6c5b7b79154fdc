package bench

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Unlike says what two shops do not hold alike; empty: nothing. Matchers are compared by what they were told and what they
// hold, for some of their parts are functions, which cannot be compared.
func Unlike(a, b *Shop) string {
	if len(a.builds) != len(b.builds) {
		return fmt.Sprintf("%d builds and %d", len(a.builds), len(b.builds))
	}
	var all [2][]*follower
	for i, s := range []*Shop{a, b} {
		if len(s.loose) == 0 {
			s.loose = nil // as good as empty
		}
		s.opened = opened{}                                                               // what was looked at last tells nothing
		slices.SortFunc(s.held, func(a, b *Build) int { return cmp.Compare(a.ID, b.ID) }) // which order it has tells nothing
		if len(s.held) == 0 {
			s.held = nil
		}
		for _, build := range s.builds {
			for _, r := range build.runs {
				all[i] = append(all[i], r.matcher)
				r.matcher = nil
			}
		}
	}
	defer func() {
		for i, s := range []*Shop{a, b} {
			n := 0
			for _, build := range s.builds {
				for _, r := range build.runs {
					r.matcher = all[i][n]
					n++
				}
			}
		}
	}()
	if !reflect.DeepEqual(a, b) {
		return "the shops differ: " + where(reflect.ValueOf(*a), reflect.ValueOf(*b))
	}
	for i, m := range all[0] {
		if !alike(m, all[1][i]) {
			return fmt.Sprintf("matcher %d differs", i)
		}
	}
	return ""
}

// Judged says of a mark whether it stands in the way of a release, and whether it is to be looked at before.
func Judged(m audit.Mark) (blocks, looked bool) {
	t := &taken{seq: 1, mark: m}
	v := reviewer{run: &run{joint: &procedure.Joint{}}}
	v.reviewReading(t)
	return slices.ContainsFunc(v.found, func(f Finding) bool { return f.Blocks }), readingFinding(t) != ""
}

// where names the fields of a struct that differ.
func where(a, b reflect.Value) (names string) {
	for i := range a.NumField() {
		if fmt.Sprintf("%#v", a.Field(i)) != fmt.Sprintf("%#v", b.Field(i)) {
			names += " " + a.Type().Field(i).Name
		}
	}
	return names
}

func alike(a, b *follower) bool {
	if a == nil || b == nil {
		return a == b
	}
	openA, dueA := a.Open()
	openB, dueB := b.Open()
	return reflect.DeepEqual(a.told, b.told) && reflect.DeepEqual(a.Findings(), b.Findings()) && reflect.DeepEqual(a.OpenShare(), b.OpenShare()) &&
		a.AnyOpen() == b.AnyOpen() && reflect.DeepEqual(openA, openB) && dueA == dueB && reflect.DeepEqual(a.Learned(), b.Learned()) &&
		reflect.DeepEqual(a.Steps(), b.Steps()) && a.Reached() == b.Reached() && a.Rethought() == b.Rethought()
}

// Every build that is on no bench is put away in these tests: nothing may depend on which ones a shop holds.
func init() { mostHeld = 0 }
