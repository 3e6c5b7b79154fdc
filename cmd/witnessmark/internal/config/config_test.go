package config

import (
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"witnessmark/device/finder"
	"witnessmark/device/label"
	"witnessmark/device/port"
	"witnessmark/device/scanner"
	"witnessmark/device/unit"
)

var update = flag.Bool("update", false, "write the faults as they are found now")

func TestParse_Faults(t *testing.T) {
	files, err := filepath.Glob("testdata/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("got %v, %v, want files of wrong configurations", files, err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			c, err := Load(file)
			if err == nil {
				t.Fatal("got no fault, want some")
			}
			if !reflect.DeepEqual(c, Config{}) {
				t.Errorf("got %+v, want nothing of a file that is wrong", c)
			}
			golden := strings.TrimSuffix(file, ".yaml") + ".faults"
			got := err.Error() + "\n"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

func TestExample_Parses(t *testing.T) {
	c, err := Parse("example.yaml", Example())
	if err != nil {
		t.Fatal(err)
	}
	if c.Shop.ID != "north" || c.Database != Private || c.Listen != Listen || len(c.Benches) != 1 || len(c.Wrenches) != 2 {
		t.Errorf("got %+v, want the shop that the example describes", c)
	}
	w := c.Wrenches[0]
	if w.Declared.RangeLow != int64(20*unit.NewtonMetre) || w.Declared.RangeHigh != int64(200*unit.NewtonMetre) {
		t.Errorf("got range %d to %d µN·m, want 20 to 200 N·m", w.Declared.RangeLow, w.Declared.RangeHigh)
	}
	if w.Profile == nil || c.BenchOf("TW-02") != "1" || c.BenchOf("TW-03") != "" {
		t.Errorf("got profile %v, benches %q and %q, want a profile, 1 and none", w.Profile, c.BenchOf("TW-02"), c.BenchOf("TW-03"))
	}
}

func TestParse_Calibration(t *testing.T) {
	c, err := Parse("example.yaml", Example())
	if err != nil {
		t.Fatal(err)
	}
	t.Run("a calibration holds to the end of its last day", func(t *testing.T) {
		due := *c.Wrenches[0].Declared.Due
		last := time.Date(2027, 1, 17, 23, 59, 59, 999_999_000, time.UTC)
		if !due.Equal(last) {
			t.Errorf("got %v, want %v", due, last)
		}
	})
	t.Run("a wrench of which nothing is said has none", func(t *testing.T) {
		text := strings.NewReplacer("calibration:", "# calibration:", "  certificate:", "# certificate:", "  done:", "# done:",
			"  due:", "# due:", "  range:", "# range:", "  cycles:", "# cycles:", "  class:", "# class:", "  deviation:", "# deviation:",
			"  uncertainty:", "# uncertainty:").Replace(string(Example()))
		c, err := Parse("example.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		d := c.Wrenches[0].Declared
		if d.Due != nil || d.Calibrated != nil || d.RangeHigh != 0 || d.Certificate != "" {
			t.Errorf("got %+v, want nothing known of its calibration", d)
		}
	})
}

// The figures of ISO 6789-1:2017 for type II class A (public instructions of a wrench, and from memory) are configuration.
func TestParse_Classes(t *testing.T) {
	for rule, c := range map[string]struct {
		from, to string
		want     int64
		fault    string
	}{
		"a wrench of more than 10 N·m":         {"", "", 40_000, ""},
		"one that ends there":                  {"range: 20..200 N·m", "range: 2..10 N·m", 60_000, ""},
		"one whose range is not said":          {"      range: 20..200 N·m", "      # range", 40_000, ""},
		"what is said of this one goes before": {"# permissible: 4 %", "permissible: 3 %", 30_000, ""},
		"a class that the table does not know": {"class: II A       ", "class: II G       ", 0, `found the class "II G" and no row for it and its range, expected one of those listed under classes: II A`},
		"a share that permits nothing":         {"permissible: 6 %", "permissible: 0 %", 0, "expected a share above zero"},
		"a row for wrenches up to no torque":   {"up_to: 10 N·m", "up_to: 10", 0, "expected a torque such as 10 N·m"},
		"a share of this one below zero":       {"# permissible: 4 %", "permissible: -4 %", 0, "expected a share above zero"},
	} {
		t.Run(rule, func(t *testing.T) {
			got, err := Parse("example.yaml", []byte(strings.Replace(string(Example()), c.from, c.to, 1)))
			switch {
			case c.fault != "":
				if err == nil || !strings.Contains(err.Error(), c.fault) {
					t.Errorf("got %v, want %q", err, c.fault)
				}
			case err != nil || got.Wrenches[0].Declared.Permissible != c.want:
				t.Errorf("got %d, %v, want %d", got.Wrenches[0].Declared.Permissible, err, c.want)
			}
		})
	}
}

func TestParse_PathsCountFromTheFile(t *testing.T) {
	text := strings.Replace(string(Example()), "# data: /var/lib/witnessmark", "data: box", 1)
	c, err := Parse("/etc/shop/witnessmark.yaml", []byte(text))
	if err != nil || c.Data != "/etc/shop/box" {
		t.Errorf("got %q, %v, want /etc/shop/box", c.Data, err)
	}
}

func TestParse_Ages(t *testing.T) {
	text := strings.NewReplacer("# stale: 5 min", "stale: 1.5 min", "# gone: 30 min", "gone: 8 h", "# idle: 30 s", "idle: 1 min",
		"# evidence: 64 MiB", "evidence: 1 GiB").Replace(string(Example()))
	c, err := Parse("example.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if w := c.Wrenches[1]; w.Stale != 90*time.Second || w.Gone != 8*time.Hour || w.Idle != time.Minute {
		t.Errorf("got %s, %s and %s, want 1m30s, 8h and 1m", w.Stale, w.Gone, w.Idle)
	}
	if w := c.Wrenches[0]; w.Stale != 0 || w.Gone != 0 || w.Idle != 0 {
		t.Errorf("got %s, %s and %s of a wrench of which nothing is said, want none", w.Stale, w.Gone, w.Idle)
	}
	if c.Evidence != 1<<30 {
		t.Errorf("got %d bytes of evidence, want 1 GiB", c.Evidence)
	}
}

func TestParse_Scanners(t *testing.T) {
	c, err := Parse("example.yaml", Example())
	if err != nil {
		t.Fatal(err)
	}
	want := []Scanner{{ID: "S-1", Bench: "1", Port: "/dev/serial/by-id/usb-scanner-S1-if00", Mode: scanner.Mode, Family: "TB-42", Labels: label.Forms{
		{Kind: label.Engine, Prefix: "E:", Check: label.None}, {Kind: label.Engine, Prefix: "H:", Check: label.None, Family: "TB-7"},
		{Kind: label.Engine, Check: label.VIN}, {Kind: label.WorkOrder, Prefix: "WO:", Check: label.None},
		{Kind: label.Badge, Prefix: "B-", Check: label.Code39}, {Kind: label.Joint, Prefix: "J:", Check: label.None},
		{Kind: label.Fastener, Prefix: "F:", Check: label.None}, {Kind: label.Lot, Prefix: "L:", Check: label.None}}}}
	if !reflect.DeepEqual(c.Scanners, want) {
		t.Errorf("got %+v\nwant %+v", c.Scanners, want)
	}
	text := strings.Replace(string(Example()), "# serial: {baud: 9600, bits: 8, parity: none", "serial: {baud: 115200, bits: 7, parity: even", 1)
	c, err = Parse("example.yaml", []byte(text))
	if want := (port.Mode{Baud: 115200, DataBits: 7, Parity: "even", StopBits: "1"}); err != nil || c.Scanners[0].Mode != want {
		t.Errorf("got %+v, %v, want %+v", c.Scanners, err, want)
	}
	before, _, _ := strings.Cut(string(Example()), "# Barcode scanners")
	if c, err := Parse("example.yaml", []byte(before)); err != nil || len(c.Scanners) != 0 {
		t.Errorf("got %+v, %v, want a shop without scanners", c.Scanners, err)
	}
}

func TestParse_Registers(t *testing.T) {
	with := func(port string) error {
		text := strings.NewReplacer("tcp://10.0.0.21:4001", port).Replace(string(Example()))
		at := strings.Index(text, port)
		text = text[:at] + strings.Replace(text[at:], "profile: semicolon-xor", "profile: registers-swapped-floats", 1)
		_, err := Parse("example.yaml", []byte(text))
		return err
	}
	for _, port := range []string{"/dev/ttyUSB7", "tcp://10.0.0.21:502", "rtu+tcp://10.0.0.21:4001"} {
		if err := with(port); err != nil {
			t.Errorf("%s: got %v, want it taken for a wrench whose registers are read", port, err)
		}
	}
	if err := with("tcp-listen://:502"); err == nil || !strings.Contains(err.Error(), "because the profile reads registers") {
		t.Errorf("got %v, want to be told that registers are not read so", err)
	}
}

func TestParse_Find(t *testing.T) {
	text := strings.Replace(string(Example()), "    port: /dev/serial/by-id/usb-adapter-TW01-if00", "    #", 1)
	text = strings.Replace(text, "profile: semicolon-xor", "profile: json-line", 1)
	for _, line := range []string{"find:", "  speaks:", "  usb-serial:", "  usb-socket:", "  node:"} {
		text = strings.Replace(text, "    # "+line, "    "+line, 1)
	}
	c, err := Parse("example.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	w := c.Wrenches[0]
	if want := (finder.Rule{Speaks: "4711", USBSerial: "A50285BI", USBSocket: "1-2.4", Node: "/dev/ttyUSB0"}); w.Find != want || w.Port != "" {
		t.Errorf("got %+v and port %q, want %+v alone", w.Find, w.Port, want)
	}
	b := finder.NewBoard(t.TempDir())
	defer b.Close()
	if p, err := w.Place(b); err != nil || p == nil {
		t.Errorf("got %v, %v, want a place on the board", p, err)
	}
	if w := c.Wrenches[1]; w.Find != (finder.Rule{}) {
		t.Errorf("got %+v of a wrench with a port, want nothing", w.Find)
	}
	t.Run("the ports of one adapter share its serial number", func(t *testing.T) {
		for rule, sockets := range map[string][2]string{"": {"1-2:1.0", "1-2:1.1"}, "is already wrench TW-01's": {"1-2:1.0", ""}} {
			text := string(Example())
			for i, port := range []string{"port: /dev/serial/by-id/usb-adapter-TW01-if00", "port: tcp://10.0.0.21:4001"} {
				find := "find: {usb-serial: X}"
				if sockets[i] != "" {
					find = "find: {usb-serial: X, usb-socket: \"" + sockets[i] + "\"}"
				}
				text = strings.Replace(text, port, find, 1)
			}
			_, err := Parse("example.yaml", []byte(text))
			if rule == "" && err != nil || rule != "" && (err == nil || !strings.Contains(err.Error(), rule)) {
				t.Errorf("%v: got %v, want %q", sockets, err, rule)
			}
		}
	})
}

func TestParse_OIDC(t *testing.T) {
	text := strings.Replace(string(Example()), "database: private", `oidc: {issuer: "https://sign-in.example/shop", client_id: wm, client_secret_file: oidc-secret}`, 1)
	c, err := Parse(filepath.Join("folder", "shop.yaml"), []byte(text))
	if want := (OIDC{"https://sign-in.example/shop", "wm", filepath.Join("folder", "oidc-secret"), "name"}); err != nil || c.OIDC != want {
		t.Errorf("got %+v, %v, want %+v", c.OIDC, err, want)
	}
}
