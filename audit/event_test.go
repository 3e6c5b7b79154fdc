package audit

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"testing"
)

// every visits an event of each kind, with nothing in it.
func every(t *testing.T, visit func(t *testing.T, ev Event)) {
	t.Helper()
	for kind, decode := range decoders {
		t.Run(kind, func(t *testing.T) {
			ev, err := decode([]byte("{}"))
			if err != nil || ev.Kind() != kind {
				t.Fatalf("got %T, %v, want an event of this kind", ev, err)
			}
			visit(t, ev)
		})
	}
}

// with is an event with a field set, false where its kind has no such field.
func with(ev Event, field string, value any) (Event, bool) {
	filled := reflect.New(reflect.TypeOf(ev)).Elem()
	f := filled.FieldByName(field)
	if !f.IsValid() {
		return ev, false
	}
	f.Set(reflect.ValueOf(value))
	return filled.Interface().(Event), true
}

func TestEvent_SaysItsBenchAndBuild(t *testing.T) {
	every(t, func(t *testing.T, ev Event) {
		ev, at := with(ev, "Bench", "B7")
		if b, says := ev.(BenchEvent); says != at || says && b.AtBench() != "B7" {
			t.Errorf("got a method AtBench: %t, a field Bench: %t, want both or none, and the bench of the field", says, at)
		}
		ev, of := with(ev, "Build", uint64(7))
		if b, says := ev.(BuildEvent); says != of || says && b.OfBuild() != 7 {
			t.Errorf("got a method OfBuild: %t, a field Build: %t, want both or none, and the build of the field", says, of)
		}
	})
}

// A kind that is forgotten where entries take effect, or are refused it, would be recorded and do nothing.
func TestEvent_HasItsCases(t *testing.T) {
	for where, file := range map[string]string{"takes effect": "bench/apply.go", "is overtaken": "bench/refusal.go"} {
		t.Run(where, func(t *testing.T) {
			named := cases(t, file)
			every(t, func(t *testing.T, ev Event) {
				if name := reflect.TypeOf(ev).Name(); !named[name] {
					t.Errorf("got no case for audit.%s in %s, want one, if only to say that it does nothing", name, file)
				}
			})
		})
	}
}

// cases are the types of this package that a file tells apart.
func cases(t *testing.T, file string) map[string]bool {
	t.Helper()
	tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	ast.Inspect(tree, func(n ast.Node) bool {
		if c, is := n.(*ast.CaseClause); is {
			for _, one := range c.List {
				if s, is := one.(*ast.SelectorExpr); is {
					named[s.Sel.Name] = true
				}
			}
		}
		return true
	})
	return named
}
