package export

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

func TestMain(m *testing.M) { os.Exit(clustertest.Main(m)) }

var begin = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// hostile are texts that a spreadsheet would take for a formula, or that spoil a table.
var hostile = []string{"=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "＝1", `a "quoted", text`, "two\nlines", "\x01\x1f", "Grüße 山田"}

// shop writes readings into a real database: two builds, the engines and the fasteners with hostile names. Of every tenth
// reading the mark was superseded.
func shop(t testing.TB, readings int) *store.Reader {
	t.Helper()
	key, err := ledger.LoadOrCreateKey(filepath.Join(t.TempDir(), "key"), store.Origin("s1"))
	if err != nil {
		t.Fatal(err)
	}
	opt := store.Options{URL: clustertest.Database(t), Shop: "s1", Key: key, Outside: filepath.Join(t.TempDir(), "checkpoint"),
		Clock: func() time.Time { return begin }}
	st, err := store.Open(t.Context(), opt)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	batch := story()
	for i := range readings {
		batch = append(batch, pulled(len(story()), i))
		if len(batch) >= 2000 || i == readings-1 {
			if err := st.Commit(t.Context(), batch); err != nil {
				t.Fatal(err)
			}
			batch = nil
		}
	}
	r, err := store.OpenReader(t.Context(), opt.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func story() []audit.Outcome {
	var out []audit.Outcome
	for i, ev := range []audit.Event{
		audit.PersonAdded{Person: "p1", Name: "=Ines Falk"},
		audit.PersonAdded{Person: "p2", Name: "Bo Lind"},
		audit.BuildOpened{Engine: "=E-1", Family: "F", Revision: "1", WorkOrder: "+WO-1", Unit: hostile[8], Person: "p1"},
		audit.BuildOpened{Engine: "E-2", Family: "F", Revision: "1", WorkOrder: "WO-2", Person: "p2"},
		audit.JointStarted{Bench: "B", Build: 3, Joint: "caps", Person: "p1"},
		audit.JointStarted{Bench: "B", Build: 4, Joint: "head", Person: "p2"},
	} {
		out = append(out, audit.Outcome{Entry: audit.Entry{Seq: uint64(i + 1), At: begin, Event: ev}})
	}
	return out
}

// pulled is reading i, a second after the one before.
func pulled(before, i int) audit.Outcome {
	seq := uint64(before + i + 1)
	angle, counter := unit.Angle(31_500+i), int64(i)
	rd := device.Reading{Wrench: fmt.Sprintf("W%d", i%3), Torque: unit.Torque(45_200_000 + 1_000*i), TorqueText: "45.2", Unit: unit.Nm, Angle: &angle,
		Counter: &counter, Direction: device.Tighten, Raw: []byte("x"), Tag: hostile[i%len(hostile)], Profile: "p 1"}
	if i%7 == 0 {
		rd.Angle = nil
	}
	m := audit.Mark{Reading: seq, No: 1, Run: 5, Build: 3, Joint: "caps", Stage: "snug", Fastener: hostile[i%len(hostile)], Verdict: audit.Pass,
		Flags: []string{}, Confidence: 997_500, LocatedBy: audit.ByOrder, Family: "F", Revision: "1"}
	if i%2 == 1 {
		m.Run, m.Build, m.Joint = 6, 4, "head"
	}
	o := audit.Outcome{Entry: audit.Entry{Seq: seq, At: begin.Add(time.Duration(i) * time.Second), Event: audit.ReadingTaken{Bench: "B", Reading: rd}},
		Marks: []audit.Mark{m}}
	if i%10 == 0 {
		m.No, m.Verdict, m.Flags = 2, audit.LowTorque, []string{audit.ReHit, audit.Unsure}
		o.Marks = append(o.Marks, m)
	}
	return o
}

func rows(t testing.TB, r *store.Reader, f store.Filter) Rows {
	return func(each func(*store.Line) error) error { return r.Readings(t.Context(), f, each) }
}

func quiet(int64) {}

func at(head string) int { return slices.Index(Heads(unit.Nm), head) }

// A table of 20 000 readings comes back as it was recorded, from CSV and from xlsx.
func TestExport_TwentyThousandReadings(t *testing.T) {
	const many = 20_000
	r := shop(t, many)
	var asCSV, asXLSX bytes.Buffer
	told := int64(0)
	if n, err := CSV(&asCSV, rows(t, r, store.Filter{}), unit.Nm, func(n int64) { told = n }); err != nil || n != many || told != many {
		t.Fatalf("CSV: got %d, told %d, %v", n, told, err)
	}
	if n, err := XLSX(&asXLSX, rows(t, r, store.Filter{}), unit.Nm, quiet); err != nil || n != many {
		t.Fatalf("xlsx: got %d, %v", n, err)
	}
	table, err := csv.NewReader(&asCSV).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&asXLSX)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	sheet, err := book.GetRows("Readings", excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(table) != many+1 || len(sheet) != many+1 || !slices.Equal(table[0], Heads(unit.Nm)) || !slices.Equal(sheet[0], Heads(unit.Nm)) {
		t.Fatalf("got %d and %d rows with the heads %q and %q", len(table), len(sheet), table[0], sheet[0])
	}
	for i := range many {
		if want := expected(i); !same(table[i+1], want) || !same(dated(t, sheet[i+1]), want) {
			t.Fatalf("reading %d: got %q and %q, want %q", i, table[i+1], sheet[i+1], want)
		}
	}
}

// expected is some columns of reading i, by their heads.
func expected(i int) map[string]string {
	want := map[string]string{"Reading": fmt.Sprint(i + 7), "Time (UTC)": begin.Add(time.Duration(i) * time.Second).Format(Moment),
		"Torque (N·m)": strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%d.%03d", (45_200+i)/1000, (45_200+i)%1000), "0"), "."),
		"Verdict":      "pass", "Engine": "'=E-1", "Technician": "'=Ines Falk", "Work order": "'+WO-1", "Unit": `a "quoted", text`,
		"Confidence (0 to 1)": "0.9975", "Times marked": "1", "Fastener": harmless(hostile[i%len(hostile)])}
	if i%2 == 1 {
		want["Engine"], want["Technician"], want["Work order"], want["Unit"] = "E-2", "Bo Lind", "WO-2", ""
	}
	if i%10 == 0 {
		want["Verdict"], want["Flags"], want["Times marked"] = "low torque", "re-hit, unsure", "2"
	}
	if i%7 == 0 {
		want["Angle (°)"] = ""
	}
	return want
}

// dated writes the time in a workbook's row as CSV has it: there it is the number of days from 30 December 1899 (ECMA-376,
// 18.17.4.1).
func dated(t *testing.T, row []string) []string {
	t.Helper()
	days, err := strconv.ParseFloat(row[at("Time (UTC)")], 64)
	if err != nil {
		t.Fatal(err)
	}
	since := time.Duration(math.Round(days*24*3600*1000)) * time.Millisecond
	row[at("Time (UTC)")] = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).Add(since).Format(Moment)
	return row
}

func same(row []string, want map[string]string) bool {
	for head, text := range want {
		got := ""
		if k := at(head); k < len(row) {
			got = row[k]
		}
		if got != text {
			return false
		}
	}
	return true
}

// Numbers are numbers and times are times, not texts that look so.
func TestXLSX_CellsAreTyped(t *testing.T) {
	var b bytes.Buffer
	if _, err := XLSX(&b, rows(t, shop(t, 12), store.Filter{}), unit.Nm, quiet); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	for head, want := range map[string]excelize.CellType{"Reading": excelize.CellTypeUnset, "Torque (N·m)": excelize.CellTypeUnset,
		"Time (UTC)": excelize.CellTypeUnset, "Fastener": excelize.CellTypeInlineString, "Torque as the wrench wrote it": excelize.CellTypeInlineString} {
		for row := 2; row <= 13; row++ {
			name, err := excelize.CoordinatesToCellName(at(head)+1, row)
			if err != nil {
				t.Fatal(err)
			}
			got, err := book.GetCellType("Readings", name)
			if err != nil || got != want { // without a type a cell is a number (ECMA-376, 18.3.1.4)
				t.Errorf("%s: got type %d, %v, want %d", head, got, err, want)
			}
			if formula, err := book.GetCellFormula("Readings", name); err != nil || formula != "" {
				t.Errorf("%s: got the formula %q, %v", head, formula, err)
			}
		}
	}
	name, _ := excelize.CoordinatesToCellName(at("Time (UTC)")+1, 3)
	if got, err := book.GetCellValue("Readings", name); err != nil || got != "2026-03-02 08:00:01.000" {
		t.Errorf("got %q, %v, want the time as it is shown", got, err)
	}
}

func TestXLSX_GoesOnInAnotherSheet(t *testing.T) {
	var b bytes.Buffer
	if _, err := xlsx(&b, rows(t, shop(t, 12), store.Filter{}), unit.Nm, quiet, 6); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	for name, want := range map[string]int{"Readings": 6, "Readings 2": 6, "Readings 3": 3} {
		got, err := book.GetRows(name)
		if err != nil || len(got) != want || !slices.Equal(got[0], Heads(unit.Nm)) {
			t.Errorf("%s: got %d rows, %v, want %d with heads", name, len(got), err, want)
		}
	}
}

func TestExport_Filters(t *testing.T) {
	r := shop(t, 120)
	for name, c := range map[string]struct {
		f    store.Filter
		want int
	}{
		"all":                    {store.Filter{}, 120},
		"an engine":              {store.Filter{Engine: "=E-1"}, 60},
		"a work order":           {store.Filter{Build: "WO-2"}, 60},
		"a build by its number":  {store.Filter{Build: "4"}, 60},
		"a joint":                {store.Filter{Joint: "head"}, 60},
		"a fastener":             {store.Filter{Fastener: "@SUM(A1)"}, 10},
		"a wrench":               {store.Filter{Wrench: "W1"}, 40},
		"a verdict in force":     {store.Filter{Verdict: audit.LowTorque}, 12},
		"a superseded verdict":   {store.Filter{Verdict: audit.Pass}, 108},
		"a flag":                 {store.Filter{Flag: audit.Unsure}, 12},
		"a technician":           {store.Filter{Technician: "Bo Lind"}, 60},
		"from included":          {store.Filter{From: begin.Add(100 * time.Second)}, 20},
		"to not included":        {store.Filter{To: begin.Add(100 * time.Second)}, 100},
		"several together":       {store.Filter{Engine: "=E-1", Verdict: audit.LowTorque, To: begin.Add(50 * time.Second)}, 5},
		"SQL is a text":          {store.Filter{Wrench: "' OR true --"}, 0},
		"an engine without any":  {store.Filter{Engine: "E-2", Joint: "caps"}, 0},
		"a flag with a verdict":  {store.Filter{Flag: audit.Unsure, Verdict: audit.Pass}, 0},
		"an engine and an order": {store.Filter{Engine: "E-2", Build: "WO-2"}, 60},
	} {
		var b bytes.Buffer
		if n, err := CSV(&b, rows(t, r, c.f), unit.Nm, quiet); err != nil || n != int64(c.want) || bytes.Count(b.Bytes(), []byte("\r\n")) != c.want+1 {
			t.Errorf("%s: got %d, %v, want %d", name, n, err, c.want)
		}
	}
	for name, f := range map[string]store.Filter{`no engine "E-3" in this shop`: {Engine: "E-3"}, "no build": {Build: "WO-9"}} {
		if _, err := CSV(io.Discard, rows(t, r, f), unit.Nm, quiet); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("got %v, want %q", err, name)
		}
	}
}

func TestHarmless(t *testing.T) {
	for text, want := range map[string]string{"=1": "'=1", "+1": "'+1", "-1": "'-1", "@A": "'@A", "\t=A": "␉=A", "\r=A": "␍=A", "a\nA": "a␊A",
		" =1": "' =1", "＝1": "'＝1", "a=1": "a=1", "": "", "'=1": "'=1", "a\x00b\x1b\x7f": "a␀b␛␡", "Grüße": "Grüße"} {
		if got := harmless(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// An error in the middle ends it, and is told.
func TestExport_BreaksOff(t *testing.T) {
	gone := errors.New("the database went away")
	broken := func(each func(*store.Line) error) error { return errors.Join(each(&store.Line{}), gone) }
	for name, write := range map[string]func(io.Writer, Rows, unit.TorqueUnit, func(int64)) (int64, error){"CSV": CSV, "xlsx": XLSX} {
		if n, err := write(io.Discard, broken, unit.Nm, quiet); !errors.Is(err, gone) || n != 1 {
			t.Errorf("%s: got %d, %v", name, n, err)
		}
	}
}

// heap looks now and then at how much is in use, at the rows and at what is written of them.
type heap struct {
	peak  uint64
	times int
}

func (h *heap) look() {
	if h.times++; h.times%2000 == 0 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		h.peak = max(h.peak, m.HeapInuse)
	}
}

func (h *heap) Write(b []byte) (int, error) {
	h.look()
	return len(b), nil
}

// The heap must not grow with the number of readings: peak-MB is the highest seen in use while one table was written.
func BenchmarkExport(b *testing.B) {
	for _, many := range []int{10_000, 80_000} {
		r := shop(b, many)
		for name, write := range map[string]func(io.Writer, Rows, unit.TorqueUnit, func(int64)) (int64, error){"csv": CSV, "xlsx": XLSX} {
			b.Run(fmt.Sprintf("%s/%d", name, many), func(b *testing.B) {
				var h heap
				for b.Loop() {
					if _, err := write(&h, rows(b, r, store.Filter{}), unit.Nm, func(int64) { h.look() }); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(h.peak)/1e6, "peak-MB")
			})
		}
	}
}

// 1 lbf·ft = 1.355 817 948… N·m (NIST SP 811).
func TestExport_InTheUnitAskedFor(t *testing.T) {
	l := &store.Line{}
	l.Torque, l.Mark.Applied = 135_581_795, 271_163_590
	l.TorqueText, l.Reading.Unit = "135.6", unit.Nm
	one := func(each func(*store.Line) error) error { return each(l) }
	var b bytes.Buffer
	if _, err := CSV(&b, one, unit.LbfFt, quiet); err != nil {
		t.Fatal(err)
	}
	table, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for head, want := range map[string]string{"Torque (lbf·ft)": "100", "Torque at the fastener (lbf·ft)": "200", "Torque as the wrench wrote it": "135.6", "Unit of the wrench": "N·m"} {
		if i := slices.Index(table[0], head); i < 0 || table[1][i] != want {
			t.Errorf("%s: got %q in %q, want %s", head, table[1], table[0], want)
		}
	}
}
