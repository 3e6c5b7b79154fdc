package paper

import (
	"cmp"
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/store"
)

// note is what a person said about the build as a whole.
type note struct {
	store.Act
	what, reason, second string
}

// notes are the releases, concessions, corrections and reopenings, in the order in which they came.
func (d *document) notes() []note {
	b := &d.History.Builds[0]
	var all []note
	for _, c := range b.Concessions {
		all = append(all, note{Act: c.Act, what: "Concession: " + c.Found, reason: c.Reason, second: seconded(&c)})
	}
	for _, c := range b.Corrections {
		all = append(all, note{Act: c.Act, what: "Correction: " + corrected(&c.CorrectionMade), reason: c.Reason})
	}
	for _, r := range b.Releases {
		all = append(all, note{Act: r.Act, what: fmt.Sprintf("Release, having seen the ledger of %d entries", r.Size)})
	}
	for _, r := range b.Reopenings {
		all = append(all, note{Act: r.Act, what: "Release taken back", reason: r.Reason})
	}
	slices.SortFunc(all, func(a, b note) int { return cmp.Compare(a.Seq, b.Seq) })
	return all
}

func seconded(c *store.ConcessionHistory) string {
	if c.Seconded == "" {
		return ""
	}
	return ", seconded by " + show.Name(c.SecondedBy)
}

func corrected(c *audit.CorrectionMade) string {
	where := "none of this joint"
	if c.Fastener != "" {
		where = "fastener " + c.Fastener
	}
	if c.Stage != "" {
		where = "stage " + c.Stage + ", " + where
	}
	return fmt.Sprintf("reading %d was %s", c.Reading, where)
}

// released is the release in force, nil where there is none.
func (d *document) released() *store.ReleaseHistory {
	b := &d.History.Builds[0]
	n, back := len(b.Releases), len(b.Reopenings)
	if n == 0 || (back > 0 && b.Reopenings[back-1].Seq > b.Releases[n-1].Seq) {
		return nil
	}
	return &b.Releases[n-1]
}

// said is the table of the notes; without any it is left out.
func (d *document) said() {
	all := d.notes()
	if len(all) == 0 {
		return
	}
	d.heading("Release, concessions and corrections")
	t := d.table(8, column{"What", 62, false}, column{"Reason", 52, false}, column{"Who", 34, false}, column{"When (UTC)", 33, false})
	for _, n := range all {
		t.row(plain, n.what, show.Dash(n.reason), show.Name(n.By)+n.second, moment(n.At))
	}
}
