package whole

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "sheet.pdf")
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	broken := func(w io.Writer) error { return errors.Join(text("half")(w), errors.New("the database went away")) }
	for _, step := range []struct {
		rule  string
		force bool
		fill  func(io.Writer) error
		fails bool
		want  string // what is there afterwards; empty: nothing
	}{
		{"what breaks off leaves nothing", false, broken, true, ""},
		{"what is whole is there", false, text("one"), false, "one"},
		{"what is there is not written over", false, text("two"), true, "one"},
		{"what breaks off leaves what was there", true, broken, true, "one"},
		{"force writes over", true, text("three"), false, "three"},
	} {
		err := Write(path, step.force, step.fill)
		got, _ := os.ReadFile(path)
		if (err != nil) != step.fails || string(got) != step.want {
			t.Errorf("%s: got %q, %v", step.rule, got, err)
		}
		if parts, _ := filepath.Glob(filepath.Join(dir, ".*")); len(parts) > 0 {
			t.Errorf("%s: got %v left behind", step.rule, parts)
		}
	}
}

func TestKeep(t *testing.T) {
	path := filepath.Join(t.TempDir(), "secret")
	for _, text := range []string{"one", "two"} {
		if err := Keep(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		st, _ := os.Stat(path)
		if err != nil || string(got) != text || st.Mode() != 0o600 {
			t.Errorf("got %q, mode %v, %v, want %q closed to others", got, st.Mode(), err, text)
		}
	}
}
