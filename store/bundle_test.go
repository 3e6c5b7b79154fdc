package store_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/store"
	"witnessmark/store/bundle"
	"witnessmark/store/ledger"
)

// bundled is the bundle of the build of the story, with a sheet added, as the files in it.
func (s *shop) bundled() map[string][]byte {
	s.t.Helper()
	r, err := store.OpenReader(s.t.Context(), s.opt.URL, "")
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Close()
	c, err := r.Bundle(s.t.Context(), "WO-1", s.opt.Key.Public, nil, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	c.Extra = []bundle.Extra{{Name: "sheet.pdf", Data: []byte("%PDF")}}
	var first, second bytes.Buffer
	if err := bundle.Write(&first, c); err != nil {
		s.t.Fatal(err)
	}
	if err := bundle.Write(&second, c); err != nil || !bytes.Equal(first.Bytes(), second.Bytes()) {
		s.t.Errorf("got other bytes the second time, %v", err)
	}
	return unzip(s.t, first.Bytes())
}

func unzip(t *testing.T, b []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// rezip writes files as whoever tampers with a bundle would: with checksums that fit.
func rezip(t *testing.T, files map[string][]byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		f, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(files[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// faults is what Check says of a bundle, a line each.
func faults(t *testing.T, b []byte, key string) string {
	t.Helper()
	r, err := bundle.Check(bytes.NewReader(b), int64(len(b)), key)
	if err != nil {
		return err.Error()
	}
	return strings.Join(r.Faults, "\n")
}

// kinds counts the entries of a bundle by kind.
func kinds(t *testing.T, files map[string][]byte) map[string]int {
	t.Helper()
	out := map[string]int{}
	for name, b := range files {
		if strings.HasPrefix(name, "entries/") {
			var e struct{ Kind string }
			if err := json.Unmarshal(b, &e); err != nil {
				t.Fatal(err)
			}
			out[e.Kind]++
		}
	}
	return out
}

func TestBundle_HoldsTheBuildAndProvesIt(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 30)
	files := s.bundled()
	if got := faults(t, rezip(t, files), s.opt.Key.Public); got != "" {
		t.Fatalf("got %s, want a bundle that fits", got)
	}
	want := map[string]int{"procedure": 1, "person": 1, "wrench": 1, "build": 1, "joint start": 1, "check answer": 1,
		"fastener named": 1, "scan": 4, "reading": 16, "mark": 16}
	got := kinds(t, files)
	for kind, n := range want {
		if got[kind] != n {
			t.Errorf("%s: got %d, want %d", kind, got[kind], n)
		}
	}
	if got["badge"] != 0 || got["refusal"] != 0 {
		t.Errorf("got %v, want nothing that does not belong to the build", got)
	}
	for name, b := range files {
		if bytes.Contains(b, []byte("Ines Falk")) {
			t.Errorf("%s names a person", name)
		}
	}
	t.Run("a checkpoint from before the last entry is refused", func(t *testing.T) {
		early, err := ledger.Checkpoint{Origin: store.Origin("s1"), Size: 3}.Sign(s.opt.Key.Signer)
		if err != nil {
			t.Fatal(err)
		}
		r, err := store.OpenReader(t.Context(), s.opt.URL, "")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if _, err := r.Bundle(t.Context(), "WO-1", s.opt.Key.Public, early, nil); err == nil || !strings.Contains(err.Error(), "have a newer one signed") {
			t.Errorf("got %v, want a newer checkpoint asked for", err)
		}
	})
	t.Run("it fits still when the ledger has gone on", func(t *testing.T) {
		s.commit(st, 31, 300)
		r, err := store.OpenReader(t.Context(), s.opt.URL, "")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if _, err := r.Bundle(t.Context(), "no such order", s.opt.Key.Public, nil, nil); err == nil || !strings.Contains(err.Error(), "work order or its number") {
			t.Errorf("got %v, want it said what to give", err)
		}
		if got := faults(t, rezip(t, s.bundled()), s.opt.Key.Public); got != "" {
			t.Error(got)
		}
	})
}

// entry finds the file of an entry by a piece of its text.
func entry(t *testing.T, files map[string][]byte, piece string) string {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if strings.HasPrefix(name, "entries/") && bytes.Contains(files[name], []byte(piece)) {
			return name
		}
	}
	t.Fatalf("no entry holds %s", piece)
	return ""
}

func TestBundle_NamesWhatDoesNotFit(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 30)
	whole := s.bundled()
	other := newShop(t).opt.Key.Public
	type files = map[string][]byte
	edit := func(f files, name, from, to string) {
		if !bytes.Contains(f[name], []byte(from)) {
			t.Fatalf("%s does not hold %q", name, from)
		}
		f[name] = bytes.Replace(f[name], []byte(from), []byte(to), 1)
	}
	manifest := func(f files, change func(*bundle.Manifest)) { remanifest(t, f, change) }
	drop := func(f files, name string) {
		delete(f, name)
		manifest(f, func(m *bundle.Manifest) {
			m.Entries = slices.DeleteFunc(m.Entries, func(e bundle.Entry) bool { return e.File == name })
		})
	}
	reading, mark := entry(t, whole, `"kind":"reading"`), entry(t, whole, `"kind":"mark"`)
	for rule, c := range map[string]struct {
		change func(files)
		want   string
	}{
		"a torque":                  {func(f files) { edit(f, reading, `"torque":"45.2"`, `"torque":"46.2"`) }, reading + " is not leaf"},
		"a verdict":                 {func(f files) { edit(f, mark, `"pass"`, `"high torque"`) }, mark + " is not leaf"},
		"an entry that is missing":  {func(f files) { delete(f, reading) }, reading + " is missing"},
		"a proof":                   {func(f files) { manifest(f, func(m *bundle.Manifest) { m.Entries[2].Proof[1][0] ^= 1 }) }, "is not leaf"},
		"half a hash in a proof":    {func(f files) { manifest(f, func(m *bundle.Manifest) { m.Entries[2].Proof[1] = []byte{1} }) }, "has 1 bytes"},
		"the number of a leaf":      {func(f files) { manifest(f, func(m *bundle.Manifest) { m.Entries[2].Leaf++ }) }, "is not leaf"},
		"the root":                  {func(f files) { edit(f, "checkpoint.txt", "s1\n", "s1\n1") }, "does not bear the signature"},
		"no checkpoint":             {func(f files) { delete(f, "checkpoint.txt") }, "checkpoint.txt is missing"},
		"the key":                   {func(f files) { f["key.pub"] = []byte(other + "\n") }, "does not bear the signature"},
		"no key":                    {func(f files) { delete(f, "key.pub") }, "key.pub is missing"},
		"the added file":            {func(f files) { f["files/sheet.pdf"] = []byte("%PDG") }, "files/sheet.pdf is not the file"},
		"a file that is not listed": {func(f files) { f["files/more.txt"] = nil }, "files/more.txt is in the zip file, but"},
		"the page by hand":          {func(f files) { f["by-hand.txt"] = []byte("all is well") }, "do not follow it"},
		"a reading left out":        {func(f files) { drop(f, reading) }, "names reading 9, which is not in the bundle"},
		"a mark left out":           {func(f files) { drop(f, mark) }, reading + " is a reading without a mark"},
		"the calibration left out":  {func(f files) { drop(f, entry(t, f, `"kind":"wrench"`)) }, "names calibration 3"},
		"the procedure left out":    {func(f files) { drop(f, entry(t, f, `"kind":"procedure"`)) }, "names procedure F 1"},
		"a person left out":         {func(f files) { drop(f, entry(t, f, `"kind":"person"`)) }, "names person ab12"},
		"the joint left out":        {func(f files) { drop(f, entry(t, f, `"kind":"joint start"`)) }, "names run 5"},
		"the build left out":        {func(f files) { drop(f, entry(t, f, `"kind":"build"`)) }, "opened build 4 is not in"},
		"a manifest of tomorrow":    {func(f files) { edit(f, "manifest.json", "bundle/1", "bundle/9") }, "use a newer one"},
		"a manifest that is none":   {func(f files) { f["manifest.json"] = []byte("{") }, "this is no bundle"},
		"a place outside":           {func(f files) { f["../x"] = nil }, "a place outside"},
	} {
		t.Run(rule, func(t *testing.T) {
			f := maps.Clone(whole)
			c.change(f)
			if got := faults(t, rezip(t, f), ""); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
	b := rezip(t, whole)
	t.Run("the key of another shop", func(t *testing.T) {
		if got := faults(t, b, other); !strings.Contains(got, "the bundle of another shop") || !strings.Contains(got, "does not bear the signature") {
			t.Errorf("got %q, want both keys told", got)
		}
	})
	t.Run("a zip file cut off", func(t *testing.T) {
		for _, n := range []int{0, 1, len(b) / 2, len(b) - 1} {
			if got := faults(t, b[:n], ""); !strings.Contains(got, "fetch it again") {
				t.Errorf("at %d bytes: got %q, want it told", n, got)
			}
		}
	})
	t.Run("a byte flipped on the way", func(t *testing.T) {
		raw := bytes.Clone(storedZip(t, whole))
		raw[bytes.Index(raw, []byte(`"torque":"45.2"`))+10] ^= 1
		if got := faults(t, raw, ""); !strings.Contains(got, reading+" is damaged") {
			t.Errorf("got %q, want the file named", got)
		}
	})
}

// storedZip is a zip file in which the bytes of the files stand as they are.
func storedZip(t *testing.T, files map[string][]byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(files[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestBundle_ProvesWhatAReleaseSigned(t *testing.T) {
	s := newShop(t)
	s.released(func(*audit.BuildReleased) {})
	whole := s.bundled()
	if got := faults(t, rezip(t, whole), s.opt.Key.Public); got != "" {
		t.Fatal(got)
	}
	got := kinds(t, whole)
	for _, kind := range []string{"concession", "correction", "release", "reopening"} {
		if got[kind] != 1 {
			t.Errorf("got %d of kind %s, want 1", got[kind], kind)
		}
	}
	if got["person"] != 2 || got["mark"] != 17 {
		t.Errorf("got %d persons and %d marks, want the second person and the superseded mark too", got["person"], got["mark"])
	}
	for rule, c := range map[string]struct {
		change func(*bundle.Manifest)
		want   string
	}{
		"the proof left out":    {func(m *bundle.Manifest) { m.Earlier = nil }, "nothing proves that the one that was signed goes on from it"},
		"the proof changed":     {func(m *bundle.Manifest) { m.Earlier[0].Proof[0][0] ^= 1 }, "does not go on from the one of"},
		"the root changed":      {func(m *bundle.Manifest) { m.Earlier[0].Root[0] ^= 1 }, "does not go on from the one of"},
		"a root that is none":   {func(m *bundle.Manifest) { m.Earlier[0].Root = nil }, "does not go on from the one of"},
		"the first mark hidden": {hideFirst(whole), "supersedes mark 1 of reading 12"},
	} {
		t.Run(rule, func(t *testing.T) {
			f := maps.Clone(whole)
			remanifest(t, f, c.change)
			if got := faults(t, rezip(t, f), ""); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
	t.Run("a release of a ledger that never was", func(t *testing.T) {
		s := newShop(t)
		s.released(func(r *audit.BuildReleased) { r.Root = make([]byte, 32) })
		if got := faults(t, rezip(t, s.bundled()), ""); !strings.Contains(got, "does not go on from the one of") {
			t.Errorf("got %q, want it named", got)
		}
	})
}

// Steps of the clock between the first and the last entry of a build belong to it, and no others.
func TestBundle_HoldsStepsOfTheClock(t *testing.T) {
	s := newShop(t)
	st := s.open()
	all := outcomes(1, 40)
	for i, ev := range map[int]audit.ClockSet{9: {By: -3_600_000}, 19: {By: -60_000, AtLeast: true}, 39: {By: 2_000}} {
		all[i].Entry.Event, all[i].Refused, all[i].Marks = ev, "", nil
	}
	if err := st.Commit(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	if got := s.verify(); got != "" {
		t.Error(got)
	}
	b := rezip(t, s.bundled())
	r, err := bundle.Check(bytes.NewReader(b), int64(len(b)), s.opt.Key.Public)
	if err != nil || len(r.Faults) > 0 || r.ClockSet != 2 {
		t.Fatalf("got %d steps, %v, %v, want two steps of the clock in a bundle that fits", r.ClockSet, r.Faults, err)
	}
	exact, least := entry(t, s.bundled(), `"by":"-3600000","kind":"clock set"`), entry(t, s.bundled(), `"at_least":true,"by":"-60000"`)
	if exact != "entries/000000000010.json" || exact >= least {
		t.Errorf("got the steps in %s and %s, want them where they stand in the ledger", exact, least)
	}
}

// hideFirst takes the first mark of reading 12 out of a manifest.
func hideFirst(files map[string][]byte) func(*bundle.Manifest) {
	var name string
	for n, b := range files {
		if bytes.Contains(b, []byte(`"no":"1"`)) && bytes.Contains(b, []byte(`"reading":"12"`)) {
			name = n
		}
	}
	return func(m *bundle.Manifest) {
		m.Entries = slices.DeleteFunc(m.Entries, func(e bundle.Entry) bool { return e.File == name })
	}
}

// remanifest changes the manifest among the files of a bundle.
func remanifest(t *testing.T, files map[string][]byte, change func(*bundle.Manifest)) {
	t.Helper()
	var m bundle.Manifest
	if err := json.Unmarshal(files["manifest.json"], &m); err != nil {
		t.Fatal(err)
	}
	change(&m)
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	files["manifest.json"] = text
}

// A row that was changed in the database is not put into a bundle.
func TestBundle_OfAChangedRow(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 30)
	if err := s.sql(true, "UPDATE witnessmark.reading SET torque = torque + 1 WHERE seq = 12"); err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(t.Context(), s.opt.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := r.Bundle(t.Context(), "4", s.opt.Key.Public, nil, nil); err == nil || !strings.Contains(err.Error(), "table reading, entry 12") {
		t.Errorf("got %v, want the row named", err)
	}
}

// TestBundle_ByAnotherProgram checks bundles with a script that shares nothing with ours: node's crypto, and the npm
// package canonicalize in the version and with the hash that package-lock.json names.
func TestBundle_ByAnotherProgram(t *testing.T) {
	tools := t.TempDir()
	for _, name := range []string{"check.mjs", "package.json", "package-lock.json"} {
		b, err := os.ReadFile(filepath.Join("bundle", "testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		place(t, filepath.Join(tools, name), b)
	}
	install := exec.CommandContext(t.Context(), "npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund")
	install.Dir = tools
	if out, err := install.CombinedOutput(); err != nil {
		t.Fatalf("npm ci: %v\n%s\nthis test needs node, npm and the npm registry", err, out)
	}
	s := newShop(t)
	s.released(func(*audit.BuildReleased) {})
	print, err := ledger.Fingerprint(s.opt.Key.Public)
	if err != nil {
		t.Fatal(err)
	}
	print = strings.ReplaceAll(print, " ", "")
	check := func(files map[string][]byte, print string) (string, error) {
		dir := t.TempDir()
		for name, b := range files {
			place(t, filepath.Join(dir, name), b)
		}
		out, err := exec.CommandContext(t.Context(), "node", filepath.Join(tools, "check.mjs"), dir, print).CombinedOutput()
		return string(out), err
	}
	whole := s.bundled()
	if out, err := check(whole, print); err != nil || !strings.HasPrefix(out, "ok ") {
		t.Fatalf("got %s, %v, want ok", out, err)
	}
	reading := entry(t, whole, `"kind":"reading"`)
	for rule, c := range map[string]struct{ name, from, to, want string }{
		"a torque":       {reading, `"45.2"`, `"45.3"`, reading + " is not leaf"},
		"a size":         {"checkpoint.txt", "s1\n", "s1\n1", "does not bear the signature"},
		"another key":    {"key.pub", "", "", "has another fingerprint"},
		"the added file": {"files/sheet.pdf", "PDF", "PDG", "files/sheet.pdf was changed"},
		"what was signed": {"manifest.json", `"earlier": [
  {
   "size": 4`, `"earlier": [
  {
   "size": 3`, "the ledger does not go on from 3"},
	} {
		t.Run(rule, func(t *testing.T) {
			f, print := maps.Clone(whole), print
			if !bytes.Contains(f[c.name], []byte(c.from)) {
				t.Fatalf("%s does not hold %q", c.name, c.from)
			}
			f[c.name] = bytes.Replace(f[c.name], []byte(c.from), []byte(c.to), 1)
			if c.from == "" {
				print = strings.Repeat("0", 64)
			}
			if out, err := check(f, print); err == nil || !strings.Contains(out, c.want) {
				t.Errorf("got %s, %v, want %q", out, err, c.want)
			}
		})
	}
}

func place(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
