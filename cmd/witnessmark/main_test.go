package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/store/ledger"
)

// said runs the program and gives its exit code, its output and its errors.
func said(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, &o, &e)
	return code, o.String(), e.String()
}

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRun_ExitCodes(t *testing.T) {
	nowhere := filepath.Join(t.TempDir(), "none")
	wrong := write(t, "wrong.yaml", "format: witnessmark/config/1\nshop: {id: north}\n")
	right := write(t, "right.yaml", string(config.Example()))
	for name, tc := range map[string]struct {
		args      []string
		code      int
		out, errs string
	}{
		"help ends with the safety note":                 {[]string{"--help"}, exitOK, show.Safety + "\n", ""},
		"so does the help of a command":                  {[]string{"serve", "--help"}, exitOK, show.Safety + "\n", ""},
		"the example is a good configuration":            {[]string{"config", "check", right}, exitOK, "good: shop north", ""},
		"a wrong configuration is bad input":             {[]string{"config", "check", wrong}, exitInput, "", "wrong.yaml:2:"},
		"all its faults are told":                        {[]string{"config", "check", wrong}, exitInput, "", "\"wrenches\""},
		"it is bad input to serve too":                   {[]string{"serve", "--config", wrong}, exitInput, "", "wrong.yaml:2:"},
		"an unknown command is bad input":                {[]string{"bogus"}, exitInput, "", "bogus"},
		"a missing flag is named":                        {[]string{"serve"}, exitInput, "", "--config=FILE; see witnessmark serve --help"},
		"a file that is not there is named":              {[]string{"config", "check", nowhere}, exitInput, "", "there is no file " + nowhere + ": check"},
		"without a daemon the person is told what to do": {[]string{"build", "list", "--data", nowhere}, exitAttention, "", "witnessmark serve"},
		"without a database too":                         {[]string{"history", "--engine", "E-1", "--data", nowhere}, exitInput, "", "--database"},
		"a unit that does not exist is bad input":        {[]string{"history", "--engine", "E-1", "--units", "stone"}, exitInput, "", "stone"},
		"so is a verdict that does not exist":            {[]string{"history", "--engine", "E-1", "--verdict", "great"}, exitInput, "", "low torque"},
		"and a flag":                                     {[]string{"history", "--engine", "E-1", "--flag", "odd"}, exitInput, "", "re-hit"},
		"verify without a key says which flag":           {[]string{"verify", "--data", nowhere}, exitInput, "", "--key"},
		"a fastener and none of them is bad input":       {[]string{"locate", "7", "--none", "--bench", "1", "--by", "Ada"}, exitInput, "", "--none"},
		"neither of them as well":                        {[]string{"locate", "--bench", "1", "--by", "Ada"}, exitInput, "", "--none"},
		"the version names the program":                  {[]string{"version"}, exitOK, "witnessmark ", ""},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs := said(t, tc.args...)
			if code != tc.code || !strings.Contains(out, tc.out) || !strings.Contains(errs, tc.errs) {
				t.Errorf("got %d, %q, %q, want %d, %q, %q", code, out, errs, tc.code, tc.out, tc.errs)
			}
		})
	}
}

func TestWrenches_Attention(t *testing.T) {
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	since, seen, ahead, past := now.Add(-12*time.Second), now.Add(-3*time.Second), now.AddDate(0, 1, 0), now.AddDate(0, -1, 0)
	for name, tc := range map[string]struct {
		w    control.Wrench
		want error
		says string
	}{
		"fresh and calibrated is fine":         {control.Wrench{State: "fresh", Since: since, LastSeen: &seen, Due: &ahead}, nil, "fresh for 12s  3s ago"},
		"one that is gone is not":              {control.Wrench{State: "gone", Since: since, Reason: "no such device"}, errAttention, "GONE for 12s  "},
		"one that is stale is not":             {control.Wrench{State: "stale", Since: since, Up: true, Reason: "silent"}, errAttention, "STALE for 12s  "},
		"why it is so stands below the table":  {control.Wrench{ID: "TW-01", State: "stale", Reason: "silent"}, errAttention, "\n\nTW-01 is stale: silent\n"},
		"one that is out of calibration":       {control.Wrench{State: "fresh", Due: &past}, errAttention, "OVER since 2026-04-04"},
		"what is left of a calibration":        {control.Wrench{State: "fresh", Due: &ahead, Cycles: 5000, Pulls: 130}, nil, "to 2026-06-04 (31 days) or 4870 more readings"},
		"why it is out stands below the table": {control.Wrench{ID: "TW-01", State: "fresh", Due: &ahead, Uncalibrated: "it deviates"}, errAttention, "\n\nTW-01 is out of calibration: it deviates\n"},
		"what was never said is said to be so": {control.Wrench{State: "fresh"}, nil, "not said"},
		"the rule that found the port":         {control.Wrench{State: "fresh", Where: "by the USB socket 1-2, at /dev/x"}, nil, "  by the USB socket 1-2, at /dev/x"},
		"a wrench that lost nothing":           {control.Wrench{State: "fresh", Refused: map[string]int64{"torn": 0}}, nil, "not said     -"},
		"what was lost and doubled": {control.Wrench{State: "fresh", Resent: 4, Skipped: 1, Epoch: 2, Refused: map[string]int64{"torn": 2, "checksum": 3}},
			nil, "4 sent again, 1 never came, 3 refused (checksum), 2 refused (torn), 2 times its counter began anew"},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			err := wrenches(shop{out: &out}, []control.Wrench{tc.w}, now)
			if err != tc.want || !strings.Contains(out.String(), tc.says) {
				t.Errorf("got %v and %q, want %v and %q", err, out.String(), tc.want, tc.says)
			}
		})
	}
}

func TestScanners_Attention(t *testing.T) {
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	seen := now.Add(-3 * time.Second)
	for name, tc := range map[string]struct {
		s    control.Scanner
		want error
		says string
	}{
		"up is fine":  {control.Scanner{ID: "S-1", Bench: "1", Up: true, LastSeen: &seen, Refused: 2, Port: "/dev/x"}, nil, "S-1      1      up     3s ago      2               /dev/x"},
		"down is not": {control.Scanner{Reason: "no such device"}, errAttention, "DOWN: no such device  not since the start"},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			err := scanners(shop{out: &out}, []control.Scanner{tc.s}, now)
			if err != tc.want || !strings.Contains(out.String(), tc.says) {
				t.Errorf("got %v and %q, want %v and %q", err, out.String(), tc.want, tc.says)
			}
		})
	}
}

const plates = `format: witnessmark/procedure/1
family: TB-7
revision: "1"
title: Short block
source: invented for this test
decision: simple
fastener_types:
  cover: {thread: M8x1.25, reuse: never}
joints:
  - id: plate
    title: Cover plate
    criticality: C
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0], type: cover}
    checks:
      - {id: seal, ask: New seal fitted?}
      - {id: lot, ask: Lot of the seal, answer: lot}
      - {id: length, ask: Length of the free bolt, accept: 29.5..30.2 mm, each: fastener}
      - {id: new-bolts, ask: How many new bolts were fitted?, answer: bolts}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
`

// TestCommands_OnADaemon goes through a shop's day by commands alone, beside a running daemon and after it has stopped.
func TestCommands_OnADaemon(t *testing.T) {
	text := string(config.Example())
	text = strings.Replace(text, "listen: 127.0.0.1:7680", "listen: 127.0.0.1:0", 1)
	text = strings.Replace(text, "# witness: /mnt/office/witnessmark-north.txt", "witness: "+filepath.Join(t.TempDir(), "other-disk.txt"), 1)
	cfg, err := config.Parse("example.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	d, err := daemon.New(daemon.Options{Config: cfg, Data: data, Clock: time.Now, NewID: newID, Log: zerolog.New(io.Discard)})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	stop := func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := d.Stop(ctx); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(stop)
	file := write(t, "plates.yaml", plates)
	day := []struct {
		args string
		code int
		says string
	}{
		{"procedure check " + file, exitOK, "plate"},
		{"procedure add " + file, exitOK, "TB-7 revision 1"},
		{"procedure add " + file, exitOK, "TB-7 revision 1"}, // once more is no fault
		{"procedure list", exitOK, "Short block"},
		{"build open --engine E-4711 --family TB-7 --work-order W-12 --by Ada", exitOK, "procedure TB-7 revision 1"},
		{"build open --engine E-4711 --family TB-9 --work-order W-13 --by Ada", exitInput, "TB-9"},
		{"build list", exitOK, "E-4711"},
		{"joint start plate --bench 1 --build W-99 --by Ada", exitInput, "W-99"},
		{"joint start plate --bench 2 --build W-12 --by Ada", exitInput, "no bench 2"},
		{"joint start plate --bench 1 --build W-12 --by Ada", exitOK, "next   fastener 1"},
		{"adapter fit cf-22 --bench 1 --wrench-length 400mm --extension 100mm --by Ada", exitOK, "next   fastener 1, stage snug: 24 N·m (21.6 … 26.4 N·m) shown by the wrench with adapter cf-22"},
		{"adapter fit cf-22 --bench 1 --wrench-length 400mm --extension 100mm --by Ada", exitOK, "400 mm from grip to drive"}, // once more is no fault
		{"adapter fit cf-22 --bench 1 --wrench TW-01 --wrench-length 400 --extension 100mm --by Ada", exitInput, "the unit is missing"},
		{"adapter fit cf-22 --bench 1 --wrench TW-77 --wrench-length 400mm --extension 100mm --by Ada", exitInput, "it has TW-01, TW-02"},
		{"adapter fit cf-22 --bench 1 --wrench TW-01 --wrench-length 400mm --extension 500mm --angle 180° --by Ada", exitAttention, "back beyond the grip"},
		{"adapter list", exitOK, "1      cf-22    every one  400 mm         100 mm     0°"},
		{"adapter remove --bench 1 --by Ada", exitOK, "next   fastener 1, stage snug: 30 N·m (27 … 33 N·m)\n"},
		{"adapter remove --bench 1 --by Ada", exitAttention, "no adapter is fitted there"},
		{"check answer seal yes --bench 1 --by Ada", exitOK, "fastener 1"},
		{"check answer lot no --bench 1 --by Ada", exitAttention, "check lot wants a lot number"},
		{"check answer lot L-2217 --bench 1 --by Ada", exitOK, "check  length, fastener 1: Length of the free bolt (29.5 … 30.2 mm)"},
		{"check answer length 30.0mm --bench 1 --by Ada", exitAttention, "say which one"},
		{"check answer length 30.0mm --fastener 1 --bench 1 --by Ada", exitOK, "new-bolts: How many new bolts were fitted? (at least 1, which are due to be replaced)"},
		{"check answer new-bolts yes --bench 1 --by Ada", exitAttention, "a whole number of bolts"},
		{"check answer new-bolts 0 --bench 1 --by Ada", exitOK, "look   check new-bolts: 0, wanted at least 1"},
		{"check answer new-bolts 1 --bench 1 --by Ada", exitOK, "next   fastener 1"},
		{"locate 1 --bench 1 --by Ada", exitAttention, "tighten first"},
		{"joint renew --bench 1 --by Ada", exitInput, "fastener"},
		{"joint renew 1 9 --bench 1 --by Ada", exitInput, `no fastener "9"`},
		{"joint renew 1 --reason stretched --bench 1 --by Ada", exitOK, "next   fastener 1"},
		{"check answer length 29.9mm --fastener 1 --bench 1 --by Ada", exitOK, "next   fastener 1"}, // the new one is measured too
		{"joint hand-over --bench 1", exitInput, "say into whose hands"},
		{"joint hand-over Bo --bench 9", exitInput, "no bench 9"},
		{"joint hand-over Bo --bench 1", exitOK, "0 of 1 steps done. In the hands of Bo."},
		{"joint hand-over Bo --bench 1", exitOK, "In the hands of Bo."}, // once more is no fault
		{"joint close --bench 1 --by Ada", exitAttention, "is not complete"},
		{"joint hand-over Cy --bench 1", exitAttention, "no joint is on bench 1"},
		{"joint start plate --bench 1 --build W-12 --by Bo", exitOK, "taken up again, 0 of 1 steps done"},
		{"joint close --bench 1 --by Bo", exitAttention, "is not complete"},
		{"wrench status", exitAttention, "GONE"},
		{"scanner status", exitAttention, "DOWN"},
		{"badge give --badge 7 --to Bo --by Ada", exitOK, "badge 7 belongs to Bo"},
		{"badge list", exitOK, "7      Bo"},
		{"ledger rotate-key --by Ada --reason", exitInput, "--reason"},
		{"ledger rotate-key --by Ada --reason yearly", exitOK, "fingerprint"},
		{"badge take --badge 7 --by Ada", exitOK, "badge 7 belongs to nobody"},
		{"badge take --badge 7 --by Ada", exitAttention, "belongs to nobody"},
		{"joint start plate --bench 1 --build W-12", exitInput, "nobody is signed in at bench 1"},
		{"build review W-12", exitAttention, "1 finding stands in the way of the release"},
		{"build review W-12", exitAttention, "step:plate/snug/1  open step  joint plate, stage snug, fastener 1: not done"},
		{"build review W-12 --format json", exitAttention, `"id": "step:plate/snug/1"`},
		{"build release W-12 --by Quinn", exitAttention, "[step:plate/snug/1]"},
		{"correct 3 --fastener 1 --reason seen --by Ada", exitAttention, "belongs to no joint"},
		{"correct 3 --reason seen --by Ada", exitInput, "--none"},
		{"concede W-12 step:plate/snug/9 --reason seen --by Ada", exitInput, "take its id from the review"},
		{"concede W-12 step:plate/snug/1 --reason none-fitted --by Ada", exitOK, "nothing stands in the way of the release"},
		{"build review W-12", exitOK, "by Ada: none-fitted"},
		{"build release W-12 --by Quinn", exitOK, "W-12: released"},
		{"build list", exitOK, "released"},
		{"joint start plate --bench 1 --build W-12 --by Ada", exitAttention, "reopen it first"},
		{"build reopen W-12 --reason asked --by Quinn", exitOK, "W-12: reopened"},
	}
	for _, step := range day {
		if strings.HasPrefix(step.args, "build release") {
			written(t, data) // a release waits for the database some seconds only, and its first start may take longer here
		}
		code, out, errs := said(t, append(strings.Fields(step.args), "--data", data)...)
		if code != step.code || !strings.Contains(out+errs, step.says) {
			t.Errorf("%s: got %d, %q, %q, want %d and %q", step.args, code, out, errs, step.code, step.says)
		}
	}
	t.Run("a watch shows the bench at once and ends when it is told to", func(t *testing.T) {
		for _, form := range []struct{ flag, says string }{{"--json=false", "Bench 1: engine E-4711, work order W-12, no joint"}, {"--json", `"bench":"1"`}} {
			ctx, cancel := context.WithCancel(t.Context())
			seen := &until{text: form.says, then: cancel}
			if code := run(ctx, []string{"watch", "1", form.flag, "--data", data}, seen, io.Discard); code != exitOK || ctx.Err() == nil {
				t.Errorf("%s: got %d and %q, want 0 and %q", form.flag, code, seen.all.String(), form.says)
			}
			cancel()
		}
		if code, _, errs := said(t, "watch", "9", "--data", data); code != exitInput || !strings.Contains(errs, "no bench 9") {
			t.Errorf("got %d, %q, want the bench refused", code, errs)
		}
	})
	for i, where := range []string{"beside the daemon", "after it has stopped"} {
		if i == 1 {
			stop()
		} else {
			written(t, data)
		}
		t.Run(where, func(t *testing.T) { look(t, data) })
	}
	notes, torn, err := ledger.ReadNotes(cfg.Witness)
	newest, _ := os.ReadFile(daemon.Folder(data).Outside())
	if err != nil || len(torn) > 0 || len(notes) == 0 || string(notes[len(notes)-1].Note) != string(newest) {
		t.Errorf("got %d checkpoints on the other disk, torn %v, %v, want the newest as the last", len(notes), torn, err)
	}
	code, out, errs := said(t, "verify", "--data", data, "--config", write(t, "shop.yaml", text))
	if want := fmt.Sprintf("from which it goes on: %d\n", len(notes)+1); code != exitOK || !strings.Contains(out, want) {
		t.Errorf("got %d, %q, %q, want %q", code, out, errs, want)
	}
}

// until is an output that acts once a text has appeared on it.
type until struct {
	text string
	then func()
	all  bytes.Buffer
}

func (u *until) Write(b []byte) (int, error) {
	n, err := u.all.Write(b)
	if strings.Contains(u.all.String(), u.text) {
		u.then()
	}
	return n, err
}

// written waits until everything is in the database.
func written(t *testing.T, data string) {
	t.Helper()
	c := control.NewClient(daemon.Folder(data).Socket())
	defer c.Close()
	for {
		s, err := c.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if s.Position == s.Entries {
			return
		}
	}
}

func look(t *testing.T, data string) {
	code, out, errs := said(t, "history", "--engine", "E-4711", "--format", "json", "--data", data)
	var e sheet.Engine
	if err := json.Unmarshal([]byte(out), &e); err != nil || code != exitOK {
		t.Fatalf("got %d, %q, %v, want a sheet", code, errs, err)
	}
	if j := e.Builds[0].Joints[0]; j.Joint != "plate" || j.By != "Ada" || j.Complete || len(j.Checks) != 6 || j.Bolts == nil || j.Bolts.Due != 1 || *j.Bolts.Used != 1 {
		t.Errorf("got %+v, want the joint that Ada left open, with its checks", j)
	}
	code, out, errs = said(t, "history", "--engine", "E-4711", "--depth", "overview", "--data", data)
	for _, want := range []string{"by Ada, reopened\n", "  released by Quinn ", "  reopened by Quinn ", "asked\n", "  conceded by Ada ", "not done: none-fitted\n", "Joint plate, Cover plate: NOT COMPLETE"} {
		if code != exitOK || !strings.Contains(out, want) {
			t.Errorf("got %d, %q, %q, want %q in the overview", code, out, errs, want)
		}
	}
	if strings.Contains(out, "STAGE") {
		t.Errorf("got %q, want no steps in an overview", out)
	}
	code, out, errs = said(t, "history", "--engine", "E-4711", "--joint", "head", "--data", data)
	if code != exitOK || strings.Contains(out, "plate") {
		t.Errorf("got %d, %q, %q, want nothing of another joint", code, out, errs)
	}
	if code, _, errs := said(t, "history", "--engine", "E-4712", "--data", data); code != exitAttention || !strings.Contains(errs, "E-4711") {
		t.Errorf("got %d, %q, want the engine like it named", code, errs)
	}
	if code, out, errs := said(t, "verify", "--data", data); code != exitOK || !strings.HasPrefix(out, "ok: shop north") {
		t.Errorf("got %d, %q, %q, want a record that is whole", code, out, errs)
	}
	bundles(t, data)
	witnesses(t, data)
}

// bundles writes the bundle of the build and checks it as its receiver would, with no data folder.
func bundles(t *testing.T, data string) {
	t.Helper()
	file, photo := filepath.Join(t.TempDir(), "w12.zip"), write(t, "photo.jpg", "not really")
	code, out, errs := said(t, "bundle", "W-12", "-o", file, "--with", photo, "--data", data)
	if code != exitOK || !strings.Contains(out, "engine E-4711, ") || !strings.Contains(out, "by another way") {
		t.Fatalf("got %d, %q, %q, want the bundle of the build", code, out, errs)
	}
	key, other := daemon.Folder(data).Key()+"-2.pub", write(t, "other.pub", otherShop)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for rule, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"with the key of the shop":       {[]string{file, "--key", key}, exitOK, "signed with the key given"},
		"with the key that lies in it":   {[]string{file}, exitOK, "ask the shop by another way"},
		"with the key before the change": {[]string{file, "--key", daemon.Folder(data).Key() + ".pub"}, exitAttention, "when the shop had another key"},
		"with the key of another":        {[]string{file, "--key", other}, exitAttention, "the bundle of another shop"},
		"cut off":                        {[]string{write(t, "half.zip", string(whole[:len(whole)/2]))}, exitAttention, "fetch it again"},
		"a key that is none":             {[]string{file, "--key", photo}, exitInput, "--key"},
	} {
		args := append([]string{"verify", "--data", filepath.Join(t.TempDir(), "none")}, c.args...)
		if code, out, errs := said(t, args...); code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%s: got %d, %q, %q, want %d and %q", rule, code, out, errs, c.code, c.says)
		}
	}
	if code, _, errs := said(t, "bundle", "W-99", "-o", file, "--data", data); code != exitAttention || !strings.Contains(errs, "W-99") {
		t.Errorf("got %d, %q, want the build that is not there named", code, errs)
	}
}

// otherShop is the public key of another shop: that of RFC 8032, 7.1, test 1.
const otherShop = "witnessmark/north+ebbe952d+AddamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea\n"

// witnesses has the checkpoint of the shop signed elsewhere, and the whole ledger checked against that.
func witnesses(t *testing.T, data string) {
	t.Helper()
	dir := t.TempDir()
	key, log, request := filepath.Join(dir, "office"), filepath.Join(dir, "witness.txt"), filepath.Join(dir, "request")
	zip := filepath.Join(dir, "witnessed.zip")
	ask := func(from string) {
		t.Helper()
		code, out, errs := said(t, "ledger", "proof", from, "--data", data)
		if code != exitOK {
			t.Fatalf("got %d, %q, want a request", code, errs)
		}
		if err := os.WriteFile(request, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	sign := []string{"witness", "sign", "--key", key, "--log", log, "--shop", daemon.Folder(data).Key() + "-2.pub", request}
	whole := []string{"verify", "--data", data, "--witness", log, "--witness-key", key + ".pub"}
	ask("0")
	for i, step := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"witness", "key", "new", key, "--name", "head office"}, exitInput, "leave out blanks"},
		{[]string{"witness", "key", "new", key, "--name", "head-office"}, exitOK, "fingerprint"},
		{[]string{"witness", "key", "new", key, "--name", "head-office"}, exitInput, "is there already"},
		{[]string{"verify", "--data", data, "--witness-key", key + ".pub"}, exitAttention, "no checkpoint bears the signature of the witness head-office"},
		{sign, exitOK, "— head-office "},
		{sign, exitOK, "— head-office "}, // once more is no fault
		{whole, exitOK, "The witness head-office has signed 2 of them"},
		{append(whole, "--key", daemon.Folder(data).Key()+"-2.pub"), exitOK, "leaves on with the key"},
		{[]string{"ledger", "keys", "--data", data}, exitOK, "by Ada (yearly)"},
		{[]string{"bundle", "W-12", "-o", zip, "--witness", log, "--data", data}, exitOK, "entries proved"},
		{[]string{"verify", zip, "--witness-key", key + ".pub"}, exitOK, "The witness head-office has signed it too"},
		{[]string{"verify", zip, "--witness-key", daemon.Folder(data).Key() + ".pub"}, exitAttention, "does not bear the signature of the witness"},
		{[]string{"bundle", "W-12", "-o", zip, "--witness", key + ".pub", "--data", data}, exitInput, "holds no checkpoint of witnessmark/north: name the file that this shop's witness writes"},
		{[]string{"ledger", "proof", "1", "99999", "--data", data}, exitAttention, "no checkpoint of 99999"},
	} {
		if code, out, errs := said(t, step.args...); code != step.code || !strings.Contains(out+errs, step.says) {
			t.Errorf("step %d: got %d, %q, %q, want %d and %q", i, code, out, errs, step.code, step.says)
		}
	}
	ask("3")
	if text, err := os.ReadFile(request); err != nil || !strings.HasPrefix(string(text), "old 3\n") {
		t.Errorf("got %q, %v, want a proof from 3 leaves on", text, err)
	}
	if err := os.WriteFile(log, []byte("north\n12\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := said(t, "verify", "--data", data, "--witness", log); code != exitOK || !strings.Contains(out, "line 1: no whole checkpoint") {
		t.Errorf("got %d, %q, want the torn line told", code, out)
	}
}

// works starts a daemon, which ends with the test.
func works(t *testing.T, cfg config.Config, data string, clock func() time.Time) *daemon.Daemon {
	t.Helper()
	d, err := daemon.New(daemon.Options{Config: cfg, Data: data, Clock: clock, NewID: newID, Log: zerolog.New(io.Discard)})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := d.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
	return d
}
