package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/device/profile"
)

const (
	quiet    = "../../testdata/captures/semicolon-xor-quiet.capture"
	troubled = "../../testdata/captures/semicolon-xor-troubled.capture"
)

func TestWrenchTry_ExitCodes(t *testing.T) {
	wrong := write(t, "wrong.yaml", "format: witnessmark/wrench/1\nname: wrong\n")
	none := write(t, "none.capture", "not a capture\n")
	bare := write(t, "bare.capture", "format: witnessmark/capture/1\nmade by: synthetic\nwrench: TW-01\n\nx\n")
	torn := write(t, "torn.capture", "format: witnessmark/capture/1\nmade by: synthetic\nwrench: TW-01\n\n"+
		"0 23 31 3b 33 30 2e 34 3b 4e 6d 3b 3b 52 3b 3b 2a 35 39 0d 0a\n5 23 32\n9 3")
	nowhere := filepath.Join(t.TempDir(), "nowhere")
	for name, tc := range map[string]struct {
		args      []string
		code      int
		out, errs string
	}{
		"no frame refused":                     {[]string{"semicolon-xor", quiet}, exitOK, "9 frames: 8 readings, 0 refused", ""},
		"some refused":                         {[]string{"semicolon-xor", troubled}, exitAttention, "16 frames: 7 readings, 7 refused", ""},
		"an unplugging is shown":               {[]string{"semicolon-xor", troubled}, exitAttention, "the port went away ──", ""},
		"as JSON":                              {[]string{"--json", "semicolon-xor", quiet}, exitOK, `{"summary":{"frames":9,"readings":8,"ignored":1,"refused":0}}`, ""},
		"briefly":                              {[]string{"--brief", "semicolon-xor", quiet}, exitOK, "✓ 30.4 N·m, 87.2°, tightened, number 1042", ""},
		"faults of a profile have their place": {[]string{wrong, quiet}, exitInput, "", "wrong.yaml:1:1"},
		"a name that is none lists those that are":             {[]string{"bogus", quiet}, exitInput, "", "semicolon-xor"},
		"a profile file that is not there":                     {[]string{nowhere + ".yaml", quiet}, exitInput, "", "no such file"},
		"a capture that is none":                               {[]string{"semicolon-xor", none}, exitInput, "", "none.capture"},
		"a capture that breaks off before anything came":       {[]string{"semicolon-xor", bare}, exitInput, "", "line 5"},
		"a capture that is not there":                          {[]string{"semicolon-xor", nowhere}, exitInput, "", "no such file"},
		"a capture that breaks off is tried as far as it goes": {[]string{"semicolon-xor", torn}, exitAttention, "2 frames: 1 reading, 1 refused", "what stands before that is used"},
		"a capture by its spec":                                {[]string{"semicolon-xor", "capture://" + quiet}, exitOK, "9 frames: 8 readings, 0 refused", ""},
		"a port that can never be":                             {[]string{"semicolon-xor", "tcp://nowhere"}, exitInput, "", "write host:port"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs := said(t, append([]string{"wrench", "try"}, tc.args...)...)
			if code != tc.code || !strings.Contains(out, tc.out) || !strings.Contains(errs, tc.errs) || code == exitInput && out != "" {
				t.Errorf("got %d, %q, %q, want %d, %q, %q", code, out, errs, tc.code, tc.out, tc.errs)
			}
			if strings.Contains(out, "\x1b") {
				t.Error("got colours, want none where there is no terminal")
			}
		})
	}
}

// TestWrenchSuggest_ThenTry goes the way of a person with a new wrench: the proposal is written, read again and tried.
func TestWrenchSuggest_ThenTry(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.yaml")
	args := []string{"wrench", "suggest", quiet, "--out", file, "--name", "mine", "--baud", "19200", "--shown", "30.4 N·m, 87.2°", "--shown", "29,8 Nm 44,3°", "--shown", "31.0 N·m, 81.0°"}
	code, out, errs := said(t, args...)
	if code != exitOK || out != "" || !strings.Contains(errs, "frame 2 at 6.203 s decodes to 30.4 N·m, 87.2°") || !strings.Contains(errs, "wrench try "+file) {
		t.Fatalf("got %d, %q, %q, want the profile in the file and what was found", code, out, errs)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := profile.Parse(file, text)
	if err != nil || p.Name != "mine" || p.Mode().Baud != 19200 {
		t.Errorf("got %+v, %v, want the name and the speed that were given", p, err)
	}
	if code, out, errs := said(t, "wrench", "try", file, quiet); code != exitOK || !strings.Contains(out, "8 readings, 0 refused") {
		t.Errorf("got %d, %q, %q, want all of it to decode", code, out, errs)
	}
	t.Run("a file that is there is never written over", func(t *testing.T) {
		code, _, errs := said(t, args...)
		now, err := os.ReadFile(file)
		if code != exitInput || !strings.Contains(errs, "is there already") || err != nil || string(now) != string(text) {
			t.Errorf("got %d, %q, %v, want it refused and the file untouched", code, errs, err)
		}
	})
}

func TestWrenchSuggest_ExitCodes(t *testing.T) {
	for name, tc := range map[string]struct {
		args      []string
		code      int
		out, errs string
	}{
		"a proposal":                  {[]string{quiet, "--shown", "30.4 N·m", "--shown", "31.0 N·m"}, exitOK, `separator: ";"`, "Not known, look it up"},
		"a value with a comma":        {[]string{quiet, "--shown", "30,4 N·m, 87,2°"}, exitOK, "kind: angle", ""},
		"nothing that fits":           {[]string{quiet, "--shown", "77.7 N·m"}, exitAttention, "", "no place in the frames holds all the shown values"},
		"no shown value":              {[]string{quiet}, exitInput, "", "--shown"},
		"a shown value that is none":  {[]string{quiet, "--shown", "much"}, exitInput, "", "write what the display showed"},
		"a name that is none":         {[]string{quiet, "--name", "My Wrench", "--shown", "30.4 N·m"}, exitInput, "", "a to z"},
		"a capture that is not there": {[]string{"nowhere.capture", "--shown", "30.4 N·m"}, exitInput, "", "no such file"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs := said(t, append([]string{"wrench", "suggest"}, tc.args...)...)
			if code != tc.code || !strings.Contains(out, tc.out) || !strings.Contains(errs, tc.errs) || tc.code != exitOK && out != "" {
				t.Errorf("got %d, %q, %q, want %d, %q, %q", code, out, errs, tc.code, tc.out, tc.errs)
			}
		})
	}
}
