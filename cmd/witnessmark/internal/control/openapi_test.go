package control

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"

	"witnessmark/audit/bench"
)

// Every field of every message stands in the document, under the name and with the type that it has on the wire.
func TestOpenAPI_Fields(t *testing.T) {
	var doc struct {
		Components struct {
			Schemas map[string]schema
		}
	}
	if err := yaml.Unmarshal(OpenAPI(), &doc); err != nil {
		t.Fatal(err)
	}
	held := map[string]bool{"Error": true}
	var hold func(reflect.Type)
	hold = func(typ reflect.Type) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice || typ.Kind() == reflect.Map {
			typ = typ.Elem()
		}
		name := nameOf(typ)
		if typ.Kind() != reflect.Struct || typ == reflect.TypeFor[time.Time]() || held[name] {
			return
		}
		held[name] = true
		s, ok := doc.Components.Schemas[name]
		if !ok {
			t.Errorf("no schema %s", name)
			return
		}
		want := map[string]reflect.Type{}
		var needed []string
		collect(typ, want, &needed)
		for field, typ := range want {
			p, ok := s.Properties[field]
			if wire := wireOf(typ); !ok || p.Ref == "" && len(p.Enum) == 0 && p.Type != wire || p.Ref != "" && !strings.HasSuffix(p.Ref, "/"+nameOf(typ)) {
				t.Errorf("%s.%s: got %+v in the document, want %s %s", name, field, p, wire, typ)
			}
			hold(typ)
		}
		for field := range s.Properties {
			if want[field] == nil {
				t.Errorf("%s.%s stands in the document only", name, field)
			}
		}
		if slices.Sort(needed); s.Closed == nil && !slices.Equal(slices.Sorted(slices.Values(s.Required)), needed) {
			t.Errorf("%s: got %v required, want %v", name, s.Required, needed)
		}
	}
	for _, message := range []any{Status{}, Procedure{}, NewProcedure{}, Build{}, NewBuild{}, bench.Review{}, Concede{}, Release{}, Reopen{}, Correct{},
		Corrected{}, Bench{}, bench.View{}, Start{}, Close{}, Answer{}, Name{}, Fit{}, TakeOff{}, Renew{}, HandOver{}, Update{}, Wrench{}, Scanner{}, Badge{},
		NewBadge{}, Finding{}, Recorded{}, Forget{}, NewKey{}, KeyChange{}, Token{}, NewToken{}, TakeToken{}} {
		hold(reflect.TypeOf(message))
	}
	if got, want := slices.Sorted(maps.Keys(doc.Components.Schemas)), slices.Sorted(maps.Keys(held)); !slices.Equal(got, want) {
		t.Errorf("got schemas %v, want %v", got, want)
	}
}

type schema struct {
	Type       string
	Ref        string `yaml:"$ref"`
	Enum       []string
	Required   []string
	Properties map[string]schema
	Closed     any `yaml:"additionalProperties"` // a request: what must be there is the desk's word, not the type's
}

func nameOf(typ reflect.Type) string {
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	if typ == reflect.TypeFor[bench.Finding]() {
		return "ReviewFinding"
	}
	return typ.Name()
}

func collect(typ reflect.Type, fields map[string]reflect.Type, needed *[]string) {
	for i := range typ.NumField() {
		f := typ.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			collect(f.Type, fields, needed)
		case name != "-":
			fields[name] = f.Type
			if options == "" {
				*needed = append(*needed, name)
			}
		}
	}
}

func wireOf(typ reflect.Type) string {
	for typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	switch {
	case typ == reflect.TypeFor[time.Time](), typ.Kind() == reflect.String:
		return "string"
	case typ.Kind() == reflect.Bool:
		return "boolean"
	case typ.Kind() == reflect.Slice:
		return "array"
	case typ.Kind() == reflect.Map, typ.Kind() == reflect.Struct:
		return "object"
	}
	return "integer"
}
