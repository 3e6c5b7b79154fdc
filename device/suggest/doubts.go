package suggest

import (
	"fmt"
	"strings"
)

// doubts is everything that the capture could not tell, the weightiest first.
func (d *draft) doubts(p *Proposal) (all []string) {
	add := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	if n := differing(d.search.shown); n < 2 {
		add("All shown values are alike: a field that is always the same would fit as well. Show at least two pulls that differ.")
	}
	if !d.sure {
		add("The shown values fit other frames of the capture as well; the first that fit were taken.")
	}
	if len(d.rivals) > 0 {
		add("What was shown stands elsewhere too: %s. Torque was taken from %s%s.", strings.Join(d.rivals, ", "), d.torque.called, d.angleCalled())
	}
	if d.torque.rounded {
		add("The wrench sends more digits than the display shows; the shown values were compared after rounding.")
	}
	all = append(all, d.checkDoubts()...)
	all = append(all, d.search.unsure...)
	all = append(all, d.cut.unsure...)
	all = append(all, d.reader.unsure...)
	if !d.hasWay {
		add("Nothing was seen that tells loosening from tightening: every reading is taken for tightening. Record a pull that loosens and show it, such as \"45.2 N·m, 31°, loosening\".")
	}
	if a := d.search.asked; a.Baud == 0 || a.Bits == 0 || a.Parity == "" || a.Stop == "" {
		add("How the serial port was set cannot be seen in the bytes: %s is what is usual, not what was found. On a network port it does not matter.", d.serial())
	}
	if p.Refused > 0 {
		add("%s of the capture would be refused: see why with `witnessmark wrench try`.", count(p.Refused, "frame", "frames"))
	}
	for _, prefix := range d.ignored {
		add("Frames that begin with %s are taken for no readings.", prefix)
	}
	if len(distinct(d.table.samples)) < len(d.table.samples) {
		add("Some frames came twice: the wrench may wait for an acknowledgement and send again. The manual says what it expects; write it as answers: {accepted: …}.")
	}
	return all
}

func (d *draft) angleCalled() string {
	if d.angle.none {
		return ""
	}
	return " and the angle from " + d.angle.called
}

func (d *draft) checkDoubts() (all []string) {
	v := d.verdict
	if v.none() {
		return []string{fmt.Sprintf("No check was found that fits the frames (%s): a disturbed line could be taken for a reading. "+
			"If the manual names a check, write it down.", count(len(distinct(d.cut.samples)), "different frame was seen", "different frames were seen"))}
	}
	if v.chance > -6 {
		all = append(all, fmt.Sprintf("The check %s fits %s, which one of all that were tried would do by accident once in %s: "+
			"record a few more pulls to be sure.", v.Name(), count(v.fits, "different frame", "different frames"), rare(v.chance)))
	}
	if len(v.others) > 0 {
		all = append(all, fmt.Sprintf("The frames fit %s as well as %s.", strings.Join(v.others, " and "), v.Name()))
	}
	if v.fits < v.of {
		all = append(all, fmt.Sprintf("The check %s does not fit %s: they are taken for disturbed or for no readings.",
			v.Name(), count(v.of-v.fits, "frame", "frames")))
	}
	return all
}

// differing counts the shown values that differ.
func differing(shown []Shown) int {
	seen := map[string]bool{}
	for _, s := range shown {
		seen[s.Torque.number+string(s.Unit)] = true
	}
	return len(seen)
}
