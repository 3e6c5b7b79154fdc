// Package paper lays out the build sheet: everything recorded of one build, as a PDF that a customer can read. The same
// record gives the same bytes.
package paper

import (
	"fmt"
	"io"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device/unit"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// Record is what a build sheet is made of.
type Record struct {
	Shop         string
	History      *store.History      // of one build
	Declarations []store.Declaration // of the wrenches that it was done with
	Signed       []byte              // the checkpoint that holds the build whole, as a signed note
	SignedAt     time.Time           // it dates the sheet
	Key          string              // the verifier's text of the key that signed it
}

// Paper is a size of paper.
type Paper string

// The sizes.
const (
	A4     Paper = "A4"
	Letter Paper = "letter"
)

// Options says how the sheet is written.
type Options struct {
	Unit  unit.TorqueUnit // of all torques; empty: N·m
	Paper Paper           // empty: A4
}

// joint is one joint of the build and its page.
type joint struct {
	worked.Joint
	page int // on which it begins; 0: not known yet
}

// document is a build sheet as it is laid out.
type document struct {
	*page
	Record
	unit        unit.TorqueUnit
	build       sheet.Build
	procedure   *procedure.Procedure
	joints      []joint
	checkpoint  ledger.Checkpoint
	fingerprint string
}

// Sheet writes the build sheet. It is laid out twice: how many pages there are is known after the first time.
func Sheet(w io.Writer, r Record, o Options) error {
	d, err := newDocument(r, o)
	if err != nil {
		return err
	}
	pages := 0
	for range 2 {
		if d.page, err = newPage(o.Paper, d.runningHead(), d.runningFoot(), pages); err != nil {
			return err
		}
		d.describe()
		d.layOut()
		pages = d.pdf.PageCount()
	}
	if err := d.pdf.Output(w); err != nil {
		return fmt.Errorf("write the build sheet: %w", err)
	}
	return nil
}

func newDocument(r Record, o Options) (*document, error) {
	if o.Unit == "" {
		o.Unit = unit.Nm
	}
	if len(r.History.Builds) != 1 {
		return nil, fmt.Errorf("a build sheet is of one build, not of %d", len(r.History.Builds))
	}
	e, err := sheet.Of(r.History, o.Unit)
	if err != nil {
		return nil, err
	}
	d := &document{Record: r, unit: o.Unit, build: e.Builds[0]}
	b := &r.History.Builds[0]
	if d.procedure, err = procedure.Parse(b.Family+" revision "+b.Revision, []byte(b.Procedure)); err != nil {
		return nil, fmt.Errorf("read the procedure of build %d: %w", b.ID, err)
	}
	for _, j := range worked.Joints(d.procedure, b, &d.build) {
		d.joints = append(d.joints, joint{Joint: j})
	}
	text, _, _ := strings.Cut(string(r.Signed), "\n\n")
	if d.checkpoint, err = ledger.ParseCheckpoint(text + "\n"); err != nil {
		return nil, err
	}
	d.fingerprint, err = ledger.Fingerprint(r.Key)
	return d, err
}

func (d *document) runningHead() string {
	return fmt.Sprintf("Engine %s, work order %s", d.History.Engine, d.build.WorkOrder)
}

func (d *document) runningFoot() string {
	return fmt.Sprintf("Build %d of shop %s as recorded until %s", d.build.Build, d.Shop, audit.When(d.SignedAt))
}

// describe fills in the properties of the file. Its date is that of the data.
func (d *document) describe() {
	d.pdf.SetTitle("Build sheet, engine "+d.History.Engine+", work order "+d.build.WorkOrder, true)
	d.pdf.SetCreator("Witnessmark", true)
	d.pdf.SetProducer("Witnessmark", true)
	d.pdf.SetLang("en")
	d.pdf.SetCreationDate(d.SignedAt.UTC())
	d.pdf.SetModificationDate(d.SignedAt.UTC())
}

func (d *document) layOut() {
	d.cover()
	for i := range d.joints {
		d.joint(&d.joints[i])
	}
	d.wrenches()
	d.proof()
}

// moment is a time in a column that says UTC at its head.
func moment(t time.Time) string { return strings.TrimSuffix(audit.When(t), "Z") }

// clock is the time of day, after the date where that is another than the given one.
func clock(at time.Time, day string) string {
	return strings.TrimPrefix(moment(at), day+" ")
}
