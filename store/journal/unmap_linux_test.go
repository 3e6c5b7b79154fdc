package journal_test

import (
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// What a journal that was read and written takes of the process's memory goes, and it reads and writes as before.
func TestJournal_GiveBack(t *testing.T) {
	path, wrote := filled(t, 1000)
	j := open(t, path)
	defer j.Close()
	if got, err := j.Read(1, len(wrote)); err != nil || len(got) != len(wrote) {
		t.Fatalf("got %d entries, %v", len(got), err)
	}
	before := mapped(t, path)
	if err := j.GiveBack(); err != nil {
		t.Fatal(err)
	}
	if after := mapped(t, path); before < 128 || after > before/10 {
		t.Errorf("got %d kB of the file in memory, then %d, want them gone", before, after)
	}
	if got, err := j.Read(1, len(wrote)); err != nil || len(got) != len(wrote) {
		t.Errorf("got %d entries, %v", len(got), err)
	}
	if _, err := j.Append(t.Context(), reading(0)); err != nil {
		t.Error(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := j.GiveBack(); err != nil {
		t.Errorf("a closed one: got %v", err)
	}
}

var resident = regexp.MustCompile(`(?m)^Rss: +(\d+) kB`)

// mapped is how much of a file this process has in its memory, in kB.
func mapped(t *testing.T, path string) (kB int) {
	t.Helper()
	text, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(text), path)
	if !found {
		t.Fatalf("%s is not mapped", path)
	}
	kB, err = strconv.Atoi(resident.FindStringSubmatch(rest)[1])
	if err != nil {
		t.Fatal(err)
	}
	return kB
}
