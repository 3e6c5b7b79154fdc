// Package claim lays out what a shop can say when an engine comes back: its builds, and of a named joint or fastener what
// was done to it and where that lies among all builds of the family.
package claim

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device/label"
	"witnessmark/store"
)

// Claim is the answer to a look-up. Its JSON is an interface: fields are only added.
type Claim struct {
	Asked    string         `json:"asked"`
	Note     string         `json:"note,omitempty"`     // what is to be said of the text itself
	Known    *time.Time     `json:"known_at,omitempty"` // only what was known then is told; names are today's
	Likeness store.Likeness `json:"likeness,omitempty"` // of everything in Found to what was asked; empty: nothing was found
	Found    []Found        `json:"found"`
	// Builds are all builds of the engines found; empty where what was found is only like what was asked for.
	Builds []Build `json:"builds"`
	Story  *Story  `json:"story,omitempty"` // of the joint or fastener that was named
}

// Found is a build that what was asked for may mean.
type Found struct {
	Build     uint64    `json:"build"`
	At        time.Time `json:"at"`
	Engine    string    `json:"engine"`
	WorkOrder string    `json:"work_order"`
	Unit      string    `json:"unit,omitempty"`
	By        string    `json:"found_by"` // engine, work order or unit
}

// Build is one build in a few words.
type Build struct {
	Engine    string    `json:"engine"`
	Build     uint64    `json:"build"`
	Asked     bool      `json:"asked_for"` // it is one of Found, not only of the same engine
	WorkOrder string    `json:"work_order"`
	Unit      string    `json:"unit,omitempty"`
	Family    string    `json:"family"`
	Revision  string    `json:"revision"`
	OpenedBy  string    `json:"opened_by"` // empty: the name was blanked
	OpenedAt  time.Time `json:"opened_at"`
	// Released is true while a release stands that was not taken back.
	Released bool    `json:"released"`
	InDoubt  string  `json:"in_doubt,omitempty"` // a wrench that was found bad, then or later
	Acts     []Act   `json:"acts"`               // releases, reopenings, concessions and corrections, in order
	Joints   []Joint `json:"joints"`
}

// Act is what a person signed for.
type Act struct {
	What  string    `json:"what"` // released, reopened, conceded or corrected
	Text  string    `json:"text,omitempty"`
	By    string    `json:"by"` // empty: the name was blanked
	At    time.Time `json:"at"`
	Entry uint64    `json:"entry"`
	Leaf  int64     `json:"ledger_index"`
}

// Joint is one run of a joint in a few words.
type Joint struct {
	Joint    string      `json:"joint"`
	Run      uint64      `json:"run"`
	By       string      `json:"by"`
	Bench    string      `json:"bench"`
	Closed   *time.Time  `json:"closed"`              // null: still on the bench
	State    sheet.State `json:"state"`               // in words, with what is known besides Complete
	Complete bool        `json:"complete"`            // every step is done but for verifications, and every check accepted
	ToVerify int         `json:"to_verify,omitempty"` // verifications that are still open
	Findings []string    `json:"findings"`
}

// New begins the answer with what was found.
func New(asked string, found []store.Candidate) *Claim {
	c := &Claim{Asked: asked, Note: note(asked), Found: []Found{}, Builds: []Build{}}
	for _, f := range found {
		c.Likeness = f.Likeness
		c.Found = append(c.Found, Found{f.Build, f.At, f.Engine, f.WorkOrder, f.Unit, f.Field})
	}
	return c
}

// note tells a VIN whose check digit is wrong, which is most often one that was typed wrongly.
func note(asked string) string {
	vin := strings.ToUpper(strings.TrimSpace(asked))
	if !label.LooksVIN(vin) {
		return ""
	}
	if _, err := label.VerifyVIN(vin); err != nil {
		return err.Error()
	}
	return ""
}

// Sure is true where what was found is what was asked for, and not only like it.
func (c *Claim) Sure() bool {
	return c.Likeness == store.AsWritten || c.Likeness == store.WrittenOtherwise
}

// Engines are the serials of the engines found, each once.
func (c *Claim) Engines() []string {
	var out []string
	for _, f := range c.Found {
		if !slices.Contains(out, f.Engine) {
			out = append(out, f.Engine)
		}
	}
	return out
}

// written names what was found as it stands in the record: engine, unit or work order, by which it was found.
func (c *Claim) written() (out []string) {
	for _, f := range c.Found {
		as := map[string]string{"engine": f.Engine, "unit": f.Unit, "work order": f.WorkOrder}[f.By]
		if as != "" && !slices.Contains(out, as) {
			out = append(out, as)
		}
	}
	return out
}

// Add adds the builds of an engine, from its sheet and the history that it was made of.
func (c *Claim) Add(h *store.History, e *sheet.Engine) {
	for i, b := range e.Builds {
		out := Build{Engine: e.Engine, Build: b.Build, Asked: c.asked(b.Build), WorkOrder: b.WorkOrder, Unit: b.Unit, Family: b.Family,
			Revision: b.Revision, OpenedBy: b.By, OpenedAt: b.At, InDoubt: b.InDoubt(), Joints: []Joint{}}
		for _, j := range b.Joints {
			out.Joints = append(out.Joints, Joint{j.Joint, j.Run, j.By, j.Bench, j.Closed, j.State, j.Complete, j.ToVerify, j.Findings})
		}
		out.Acts = acts(&h.Builds[i])
		for _, a := range out.Acts {
			out.Released = a.What == released || out.Released && a.What != reopened
		}
		c.Builds = append(c.Builds, out)
	}
}

const (
	released = "released"
	reopened = "reopened"
)

// acts puts what people signed for in order.
func acts(b *store.BuildHistory) []Act {
	out := []Act{}
	add := func(a store.Act, what, text string) { out = append(out, Act{what, text, a.By, a.At, a.Seq, a.Index}) }
	for _, r := range b.Releases {
		add(r.Act, released, fmt.Sprintf("signing the ledger of %d leaves", r.Size))
	}
	for _, r := range b.Reopenings {
		add(r.Act, reopened, r.Reason)
	}
	for _, c := range b.Concessions {
		text := fmt.Sprintf("%s: %s", c.Found, c.Reason)
		if c.Seconded != "" {
			text += ", seconded by " + show.Name(c.SecondedBy)
		}
		add(c.Act, "conceded", text)
	}
	for _, c := range b.Corrections {
		to := "fastener " + c.Fastener
		if c.Fastener == "" {
			to = "none of the joint"
		}
		add(c.Act, "corrected", fmt.Sprintf("reading %d was %s: %s", c.Reading, to, c.Reason))
	}
	slices.SortFunc(out, func(a, b Act) int { return cmp.Compare(a.Entry, b.Entry) })
	return out
}

func (c *Claim) asked(build uint64) bool {
	return slices.ContainsFunc(c.Found, func(f Found) bool { return f.Build == build })
}

// Date reads a day, of which the end is meant, or an instant.
func Date(text string) (time.Time, error) {
	t, day, err := show.Date(text)
	if day {
		t = t.AddDate(0, 0, 1).Add(-time.Microsecond)
	}
	return t, err
}
