package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/gowebpki/jcs"
)

// leaf is what the checks need of an entry.
type leaf struct {
	file string
	text map[string]string // those of its fields that are text: every number is, too
}

// parse reads an entry, which must be in canonical form.
func parse(b []byte) (leaf, error) {
	canonical, err := jcs.Transform(b)
	if err != nil || !bytes.Equal(canonical, b) {
		return leaf{}, errors.New("it is not JSON in canonical form")
	}
	var fields map[string]any
	if err := json.Unmarshal(b, &fields); err != nil {
		return leaf{}, errors.New("it is no JSON object")
	}
	l := leaf{text: map[string]string{}}
	for name, v := range fields {
		if s, ok := v.(string); ok {
			l.text[name] = s
		}
	}
	return l, nil
}

// refers says which kind of entry a field names: by its sequence number, or a person by the id.
var refers = []struct{ field, kind string }{
	{"build", "build"}, {"run", "joint start"}, {"continues", "joint start"}, {"reading", "reading"}, {"calibration", "wrench"},
	{"person", "person"}, {"seconded", "person"},
}

// names are what others call an entry by.
func (l leaf) names() []string {
	kind := l.text["kind"]
	names := []string{kind + " " + l.text["seq"]}
	switch kind {
	case "mark":
		return []string{"mark " + l.text["reading"] + " " + l.text["no"], "mark of " + l.text["reading"]}
	case "person":
		names = append(names, "person "+l.text["person"])
	case "procedure":
		names = append(names, "procedure "+l.text["family"]+" "+l.text["revision"])
	}
	return names
}

// references checks that what the entries of this build name is in the bundle: the ledger proves each entry that is there,
// and only another entry can tell of one that was left out.
func (c *checker) references() {
	there := map[string]bool{}
	for _, l := range c.leaves {
		for _, name := range l.names() {
			there[name] = true
		}
	}
	build := fmt.Sprint(c.report.Build)
	if !there["build "+build] {
		c.fault("the entry that opened build %s is not in the bundle", build)
	}
	for _, i := range slices.Sorted(maps.Keys(c.leaves)) {
		l := c.leaves[i]
		if l.text["kind"] == "reading" && !there["mark of "+l.text["seq"]] {
			c.fault("%s is a reading without a mark", l.file)
		}
		if l.text["kind"] == "mark" {
			c.superseded(l, there)
		}
		if b, has := l.text["build"]; l.text["refused"] == "" && (!has || b == build) {
			c.named(l, there)
		}
	}
}

func (c *checker) named(l leaf, there map[string]bool) {
	for _, r := range refers {
		if seq := l.text[r.field]; seq != "" && seq != "0" && !there[r.kind+" "+seq] {
			c.fault("%s names %s %s, which is not in the bundle", l.file, r.field, seq)
		}
	}
	procedure := l.text["family"] + " " + l.text["revision"]
	if l.text["revision"] != "" && !there["procedure "+procedure] {
		c.fault("%s names procedure %s, which is not in the bundle", l.file, procedure)
	}
}

// superseded finds a mark that was left out between others.
func (c *checker) superseded(l leaf, there map[string]bool) {
	var no int
	if _, err := fmt.Sscan(l.text["no"], &no); err != nil || no < 1 {
		c.fault("%s is a mark without a number", l.file)
	} else if no > 1 && !there[fmt.Sprintf("mark %s %d", l.text["reading"], no-1)] {
		c.fault("%s supersedes mark %d of reading %s, which is not in the bundle", l.file, no-1, l.text["reading"])
	}
}
