package bench_test

import (
	"strings"
	"testing"

	"witnessmark/audit/bench"
)

func TestSnapshotForm(t *testing.T) {
	form := bench.SnapshotForm()
	if form != bench.SnapshotForm() {
		t.Error("got two forms")
	}
	for _, part := range []string{"snapshot struct", "bench.keptRun struct", "match.Observation struct", "adapter.Adapter struct", "device.Reading struct", `Torque "json:\"torque\"`, "recall.Record struct", "time.Time struct"} {
		if !strings.Contains(form, part) {
			t.Errorf("got no %q in the form", part)
		}
	}
	type one struct{ A int }
	type two struct{ A int64 }
	type three struct {
		A int `json:"a"`
	}
	forms := map[string]bool{form: true}
	for _, v := range []any{one{}, two{}, three{}, []one{}, map[string]one{}, &one{}} {
		forms[strings.NewReplacer("bench_test.one", "", "bench_test.two", "", "bench_test.three", "").Replace(bench.SnapshotForm(v))] = true
	}
	if len(forms) != 7 {
		t.Errorf("got %d forms of 7 things", len(forms))
	}
}
