package store

import (
	"reflect"
	"strings"
	"sync"
	"time"

	"witnessmark/audit"
)

// table is where records of one kind are kept.
type table struct {
	name   string
	record reflect.Type
}

// tables are the append-only tables by the kind of record. The columns of each are the common ones and the record's db tags.
var tables = map[string]table{
	audit.ProcedureAdded{}.Kind(): {"procedure", reflect.TypeFor[audit.ProcedureAdded]()},
	audit.PersonAdded{}.Kind():    {"person", reflect.TypeFor[audit.PersonAdded]()},
	audit.WrenchDeclared{}.Kind(): {"wrench", reflect.TypeFor[audit.WrenchDeclared]()},
	audit.BuildOpened{}.Kind():    {"build", reflect.TypeFor[audit.BuildOpened]()},
	audit.JointStarted{}.Kind():   {"joint_start", reflect.TypeFor[audit.JointStarted]()},
	audit.JointClosed{}.Kind():    {"joint_close", reflect.TypeFor[audit.JointClosed]()},
	audit.CheckAnswered{}.Kind():  {"check_answer", reflect.TypeFor[audit.CheckAnswered]()},
	audit.FastenerNamed{}.Kind():  {"fastener_named", reflect.TypeFor[audit.FastenerNamed]()},
	audit.BoltReplaced{}.Kind():   {"bolt_replaced", reflect.TypeFor[audit.BoltReplaced]()},
	audit.HandedOver{}.Kind():     {"hand_over", reflect.TypeFor[audit.HandedOver]()},
	audit.BadgeGiven{}.Kind():     {"badge", reflect.TypeFor[audit.BadgeGiven]()},
	audit.RolesGiven{}.Kind():     {"roles", reflect.TypeFor[audit.RolesGiven]()},
	audit.TokenGiven{}.Kind():     {"token_given", reflect.TypeFor[audit.TokenGiven]()},
	audit.AdapterFitted{}.Kind():  {"adapter", reflect.TypeFor[audit.AdapterFitted]()},
	audit.LabelScanned{}.Kind():   {"scan", reflect.TypeFor[audit.LabelScanned]()},
	audit.KeyChanged{}.Kind():     {"key_change", reflect.TypeFor[audit.KeyChanged]()},
	audit.ReadingTaken{}.Kind():   {"reading", reflect.TypeFor[audit.ReadingTaken]()},
	audit.FrameRefused{}.Kind():   {"refusal", reflect.TypeFor[audit.FrameRefused]()},
	audit.Mark{}.Kind():           {"mark", reflect.TypeFor[audit.Mark]()},

	audit.ConcessionGranted{}.Kind(): {"concession", reflect.TypeFor[audit.ConcessionGranted]()},
	audit.CorrectionMade{}.Kind():    {"correction", reflect.TypeFor[audit.CorrectionMade]()},
	audit.BuildReleased{}.Kind():     {"build_release", reflect.TypeFor[audit.BuildReleased]()},
	audit.BuildReopened{}.Kind():     {"build_reopening", reflect.TypeFor[audit.BuildReopened]()},

	audit.CalibrationFound{}.Kind(): {"calibration_found", reflect.TypeFor[audit.CalibrationFound]()},
	audit.PersonForgotten{}.Kind():  {"person_forgotten", reflect.TypeFor[audit.PersonForgotten]()},
	audit.LossAccepted{}.Kind():     {"loss", reflect.TypeFor[audit.LossAccepted]()},
	audit.ClockSet{}.Kind():         {"clock_set", reflect.TypeFor[audit.ClockSet]()},
}

// common are the columns that every append-only table has beside shop and those of its record.
type common struct {
	Seq     uint64    `db:"seq"`
	At      time.Time `db:"at"`
	Refused string    `db:"refused"`
	Index   int64     `db:"ledger_index"`
}

// row is a record with what stands beside it.
type row struct {
	common
	kind   string
	record reflect.Value // a settable struct
}

// newRow takes a copy of a record into the form in which the database gives it back, so that the leaf made now and the
// leaf made from the row are the same bytes.
func newRow(kind string, record any, c common) row {
	v := reflect.New(reflect.TypeOf(record)).Elem()
	v.Set(reflect.ValueOf(record))
	each(v, func(_ string, f reflect.Value) { settle(f) })
	return row{c, kind, v}
}

// emptyRow is for scanning into.
func emptyRow(kind string) row {
	return row{kind: kind, record: reflect.New(tables[kind].record).Elem()}
}

// settle makes nil lists empty and times UTC in whole microseconds. PostgreSQL's text cannot hold a NUL character; one
// that got so far is shown as its symbol, rather than stopping all records behind it. The journal keeps what came.
func settle(f reflect.Value) {
	switch f.Type() {
	case reflect.TypeFor[*time.Time]():
		if !f.IsNil() {
			t := inMicroseconds(f.Elem())
			f.Set(reflect.ValueOf(&t))
		}
		return
	case reflect.TypeFor[time.Time]():
		f.Set(reflect.ValueOf(inMicroseconds(f)))
		return
	}
	switch {
	case f.Kind() == reflect.Slice && f.IsNil():
		f.Set(reflect.MakeSlice(f.Type(), 0, 0))
	case f.Kind() == reflect.String && strings.ContainsRune(f.String(), 0):
		f.SetString(strings.ReplaceAll(f.String(), "\x00", "␀"))
	}
}

func inMicroseconds(f reflect.Value) time.Time {
	return f.Interface().(time.Time).UTC().Truncate(time.Microsecond)
}

// place is a field that is a column, and where it lies in its struct.
type place struct {
	column string
	index  []int
}

// places are the fields of struct types that are columns, which are worked out once for each type.
var places sync.Map // []place by reflect.Type

// placesOf lists the fields that are columns, embedded structs included, in a fixed order.
func placesOf(t reflect.Type) []place {
	if known, ok := places.Load(t); ok {
		return known.([]place)
	}
	var out []place
	for _, f := range reflect.VisibleFields(t) {
		if column := f.Tag.Get("db"); column != "" {
			out = append(out, place{column, f.Index})
		}
	}
	places.Store(t, out)
	return out
}

// each visits the fields of a struct that are columns.
func each(v reflect.Value, visit func(column string, f reflect.Value)) {
	for _, p := range placesOf(v.Type()) {
		visit(p.column, v.FieldByIndex(p.index))
	}
}

// columns names the columns of a row but for shop, in the order of targets.
func (r *row) columns() []string {
	var out []string
	r.fields(func(column string, _ reflect.Value) { out = append(out, column) })
	return out
}

// targets point at what goes into the columns, which is also where a query scans them to.
func (r *row) targets() []any {
	out := make([]any, 0, 32)
	r.fields(func(_ string, f reflect.Value) { out = append(out, f.Addr().Interface()) })
	return out
}

func (r *row) fields(visit func(string, reflect.Value)) {
	each(reflect.ValueOf(&r.common).Elem(), visit)
	each(r.record, visit)
}
