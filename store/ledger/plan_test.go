package ledger

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strconv"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"witnessmark/audit"
)

// Whatever stands in a record, a leaf is what encoding/json and the RFC 8785 of github.com/gowebpki/jcs make of it, step by
// step, as leaves were once written.
func TestLeaf_AsByTheLibraries(t *testing.T) {
	records := []any{audit.ProcedureAdded{}, audit.PersonAdded{}, audit.WrenchDeclared{}, audit.BuildOpened{}, audit.JointStarted{},
		audit.JointClosed{}, audit.CheckAnswered{}, audit.FastenerNamed{}, audit.BoltReplaced{}, audit.BadgeGiven{}, audit.AdapterFitted{},
		audit.LabelScanned{}, audit.KeyChanged{}, audit.RolesGiven{}, audit.ReadingTaken{}, audit.FrameRefused{}, audit.Mark{}, audit.ConcessionGranted{}, audit.CorrectionMade{},
		audit.BuildReleased{}, audit.BuildReopened{}, audit.LossAccepted{}, audit.HandedOver{}, audit.ClockSet{}}
	rapid.Check(t, func(r *rapid.T) {
		v := reflect.New(reflect.TypeOf(rapid.SampledFrom(records).Draw(r, "record"))).Elem()
		draw(r, v)
		refused := rapid.SampledFrom([]string{"", "no <joint>"}).Draw(r, "refused")
		want, err := bySteps("x", 7, noon, refused, v.Interface())
		if err != nil {
			r.Fatal(err)
		}
		if got, err := Leaf("x", 7, noon, refused, v.Interface()); err != nil || string(got) != string(want) {
			r.Errorf("got  %s, %v\nwant %s", got, err, want)
		}
	})
}

// draw fills a record with anything.
func draw(r *rapid.T, v reflect.Value) {
	switch {
	case v.Type() == reflect.TypeFor[time.Time]():
		v.Set(reflect.ValueOf(time.UnixMicro(rapid.Int64Range(-1e15, 1e16).Draw(r, "µs")).UTC()))
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			draw(r, v.Field(i))
		}
	case v.Kind() == reflect.Pointer:
		if rapid.Bool().Draw(r, "there") {
			v.Set(reflect.New(v.Type().Elem()))
			draw(r, v.Elem())
		}
	case v.Kind() == reflect.Slice:
		n := rapid.IntRange(0, 3).Draw(r, "length")
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			draw(r, v.Index(i))
		}
	case v.Kind() == reflect.String:
		v.SetString(string(rapid.SliceOf(rapid.OneOf(rapid.ByteRange(0, 127), rapid.Byte())).Draw(r, "bytes")) +
			rapid.SampledFrom([]string{"", "\u2028", "😂", "<&>", "N·m"}).Draw(r, "text"))
	case v.Kind() == reflect.Bool:
		v.SetBool(rapid.Bool().Draw(r, "yes"))
	case v.CanInt():
		n := rapid.Int64().Draw(r, "number")
		v.SetInt(n)
	case v.CanUint():
		v.SetUint(rapid.Uint64().Draw(r, "number"))
	default:
		panic("cannot fill " + v.Type().String())
	}
}

func bySteps(kind string, seq uint64, at time.Time, refused string, record any) ([]byte, error) {
	body, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write leaf: %w", err)
	}
	fields := map[string]json.RawMessage{}
	if err := json.Unmarshal(body, &fields); err != nil {
		return nil, fmt.Errorf("write leaf: a record must be an object: %w", err)
	}
	if h, ok := record.(hider); ok {
		for _, name := range h.LeafHidden() {
			delete(fields, name)
		}
	}
	head := map[string]string{"kind": kind, "seq": strconv.FormatUint(seq, 10), "at": at.UTC().Format(timeLayout)}
	if refused != "" {
		head["refused"] = refused
	}
	if err := complete(fields, head); err != nil {
		return nil, err
	}
	loose, err := json.Marshal(fields)
	if err != nil {
		return nil, fmt.Errorf("write leaf: %w", err)
	}
	leaf, err := jcs.Transform(loose)
	if err != nil {
		return nil, fmt.Errorf("write leaf in canonical form: %w", err)
	}
	return leaf, nil
}

// complete turns numbers into text and adds what every leaf has.
func complete(fields map[string]json.RawMessage, head map[string]string) error {
	for name, value := range fields {
		if c := value[0]; c == '-' || c >= '0' && c <= '9' {
			fields[name] = text(string(value))
		}
	}
	for _, name := range []string{"kind", "seq", "at", "refused"} {
		if _, taken := fields[name]; taken {
			return fmt.Errorf("write leaf: the record has a field %q of its own", name)
		}
		if value, given := head[name]; given {
			fields[name] = text(value)
		}
	}
	return nil
}

func text(s string) json.RawMessage {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err) // a string always has a JSON form
	}
	return b
}
