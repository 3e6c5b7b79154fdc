package paper

import (
	"fmt"
	"image/color"
	"strings"
	"time"

	"github.com/boombuler/barcode/qr"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// wrenches are those that the build was done with, as their marks name them.
func (d *document) wrenches() {
	d.room(50)
	d.heading("Wrenches and their calibrations")
	if len(d.Declarations) == 0 {
		d.paragraph("No calibration was recorded for any wrench that was used.")
	}
	t := d.table(smallSize, column{"Wrench", 18, false}, column{"Description", 34, false}, column{"Certificate", 30, false}, column{"Calibrated", 21, false},
		column{"Due", 21, false}, column{"Range " + string(d.unit), 22, false}, column{"Class", 18, false}, column{"Deviation", 18, true},
		column{"Uncertainty", 20, true}, column{"Pulls", 10, true})
	for i := range d.Declarations {
		w := &d.Declarations[i]
		t.row(plain, w.Wrench, show.Dash(w.Title), show.Dash(w.Certificate), date(w.Calibrated), date(w.Due), d.reach(w), show.Dash(w.Class),
			share(w.Deviation, true), share(w.Uncertainty, false), fmt.Sprint(d.judgedBy(w.Seq)))
	}
	if n := d.judgedBy(0); n > 0 {
		d.y += 1
		d.face(bold, bodySize, ink)
		d.paragraph(fmt.Sprintf("▲ %s came from a wrench for which no calibration was recorded.", counted(n, "reading")))
	}
	d.face(regular, smallSize, faint)
	d.y += 1
	d.paragraph("Deviation and expanded uncertainty (k = 2) are those of the certificate, in per cent of the torque; a deviation above 0 shows too much.")
}

// judgedBy counts the readings whose mark in force names a declaration.
func (d *document) judgedBy(seq uint64) int {
	n := 0
	for i := range d.History.Builds[0].Runs {
		for _, m := range d.History.Builds[0].Runs[i].InForce() {
			if m.Calibration == seq {
				n++
			}
		}
	}
	return n
}

func (d *document) reach(w *store.Declaration) string {
	if w.RangeLow == 0 && w.RangeHigh == 0 {
		return "not said"
	}
	return worked.Short(unit.Torque(w.RangeLow), d.unit) + " … " + worked.Short(unit.Torque(w.RangeHigh), d.unit)
}

func date(t *time.Time) string {
	if t == nil {
		return "not said"
	}
	return t.UTC().Format(time.DateOnly)
}

// share writes millionths as per cent; nothing said is nothing written.
func share(millionths int64, signed bool) string {
	if millionths == 0 {
		return "–"
	}
	sign := ""
	if signed && millionths > 0 {
		sign = "+"
	}
	if millionths < 0 {
		sign, millionths = "−", -millionths
	}
	return fmt.Sprintf("%s%d.%02d %%", sign, millionths/10_000, millionths%10_000/100)
}

// proof is the state of the ledger that holds the build, as text and as a code to be scanned.
func (d *document) proof() {
	const size = 46.0
	d.room(size + 70) // it stays together
	d.heading("What proves this sheet")
	d.paragraph("Everything printed here was written into a ledger in which no entry can be changed or taken out without the root below " +
		"coming out otherwise. The checkpoint was signed when the last entry of this build was in. Who holds a copy of it can have the shop's " +
		"ledger proved against it at any time (witnessmark verify); the signature is checked with the shop's public key.")
	d.y += 3
	top := d.y
	d.code(string(d.Signed), d.left()+d.width()-size, top, size)
	for _, f := range [][2]string{{"Ledger", d.checkpoint.Origin}, {"Signed", audit.When(d.SignedAt)}, {"Entries", fmt.Sprint(d.checkpoint.Size)},
		{"Root", d.checkpoint.Root.String()}, {"Key", "SHA-256 " + d.fingerprint}} {
		d.face(regular, smallSize, faint)
		d.at(d.left(), d.y, f[0])
		d.face(regular, smallSize, ink)
		for _, l := range d.lines(f[1], d.width()-size-24) {
			d.at(d.left()+16, d.y, l)
			d.y += d.line()
		}
		d.y += 0.8
	}
	d.y = max(d.y, top+size) + 2
	d.verbatim()
	if d.strange {
		d.face(regular, smallSize, faint)
		d.y += 3
		d.paragraph("Letters that this sheet has no form for stand as their Unicode numbers in ‹ ›; the ledger holds them as they were given.")
	}
}

// verbatim is the signed note as it is in the code.
func (d *document) verbatim() {
	d.face(regular, smallSize, faint)
	d.paragraph("The signed note, which is also what the code holds:")
	d.y += 1
	d.face(mono, 6.8, ink)
	for _, l := range strings.Split(strings.TrimRight(string(d.Signed), "\n"), "\n") {
		d.paragraph(l)
	}
}

// code draws a QR code (ISO/IEC 18004) with its quiet zone inside the given size.
func (d *document) code(text string, x, y, size float64) {
	c, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		d.pdf.SetError(fmt.Errorf("draw the checkpoint as a code: %w", err))
		return
	}
	const quiet = 4 // modules on every side
	n := c.Bounds().Dx()
	module := size / float64(n+2*quiet)
	d.fill(colour{0, 0, 0})
	for row := range n {
		for from := 0; from < n; from++ {
			to := from
			for to < n && dark(c.At(to, row)) {
				to++
			}
			if to > from {
				d.pdf.Rect(x+float64(from+quiet)*module, y+float64(row+quiet)*module, float64(to-from)*module, module*1.02, "F")
				from = to
			}
		}
	}
}

func dark(c color.Color) bool {
	r, _, _, _ := c.RGBA()
	return r == 0
}
