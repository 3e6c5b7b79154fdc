package suggest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// fewPulls is below how many pulls a field that never changes, or counts, says little.
const fewPulls = 4

// other says what a column is that is neither torque, angle, unit nor direction. Of each kind the first one is taken.
func (r *reader) other(c column) {
	texts := c.distinct()
	switch {
	case len(texts) == 0:
		r.unread(c, "always empty")
	case !r.kinds["counter"] && r.counts(c):
		r.counter(c)
	case !r.kinds["clock"] && r.isClock(c):
		r.add(c, "clock", "clock", "a date or a time, such as "+texts[0])
	case !r.kinds["judgement"] && r.judges(c):
		r.judgement(c)
	case !r.kinds["battery"] && r.labelled(c, "bat", "batt", "battery", "charge", "soc") && percent(c):
		r.add(c, "battery", "battery", "called so by the line itself; from 0 to 100")
	case c.sort && len(texts) == 1 && len(texts[0]) <= mostCode, c.from == 0 && r.names(c):
		r.add(c, "fixed", "form", fmt.Sprintf("always %q, taken for the name of this form: a frame with another one is refused", texts[0]), "is: "+quotedText(texts[0]))
	case len(texts) == 1 && !r.kinds["serial"] && r.isSerial(c):
		r.add(c, "serial", "serial", fmt.Sprintf("always %q, taken for the serial number of the wrench", texts[0]))
		r.doubt("%q stood in %s in every frame and is taken for the wrench's serial number: another wrench of this kind must send another "+
			"one there. If it does not, write unread.", texts[0], c.called)
	case len(texts) == 1:
		r.constant(c, texts[0])
	default:
		r.varying(c, texts)
	}
}

// names says whether frames begin with a word that is always the same: it tells them from frames of another form.
func (r *reader) names(c column) bool {
	texts := c.distinct()
	return len(texts) == 1 && !c.gaps() && len(texts[0]) >= 2 && len(texts[0]) <= mostCode && (r.form() == "separator" || r.form() == "columns") &&
		!strings.ContainsFunc(texts[0], func(c rune) bool { return !(c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z') })
}

// unread keeps the place of a column where a profile must name all there are; elsewhere it is left out.
func (r *reader) unread(c column, told string) {
	if r.form() == "separator" || r.form() == "columns" {
		r.add(c, "unread", c.called, told)
	}
}

func (r *reader) constant(c column, text string) {
	if r.form() == "binary" && text == "0" {
		return
	}
	told := fmt.Sprintf("always %q", text)
	if c.gaps() {
		told += ", or nothing"
	}
	r.unread(c, told)
	switch r.form() {
	case "columns":
		if !strings.ContainsAny(text, "0123456789") {
			return // a label, a mark
		}
		fallthrough
	case "separator", "json":
		if r.pulls < fewPulls {
			r.doubt("Only %s: what was always %q (%s) may be a preset, a code or a count. It is not read.", count(r.pulls, "reading", "readings"), text, c.called)
			return
		}
		r.doubt("%q stood in %s in every frame and is not read: it may be a preset, a code, or the number of the wrench.", text, c.called)
	}
}

func (r *reader) varying(c column, texts []string) {
	r.unread(c, "changes: "+sayTexts(texts))
	if r.form() != "binary" {
		r.doubt("What stands in %s changes (%s) and is not read: the manual says what it is. If it is the fastener or the preset set at the wrench, "+
			"its kind is tag or preset.", c.called, sayTexts(texts))
	}
}

// counts says whether the column counts the pulls. Two pulls could do so by accident; three that count are believed.
func (r *reader) counts(c column) bool {
	if !rises(c.cells) || c.gaps() {
		return false
	}
	return len(c.distinct()) >= 3 || r.labelled(c, "count", "counter", "cnt", "no", "nr", "num", "seq", "index", "idx", "n", "id")
}

func (r *reader) counter(c column) {
	r.add(c, "counter", "counter", fmt.Sprintf("rises by one, from %s to %s", c.cells[0], c.cells[len(c.cells)-1]))
	if len(c.distinct()) < fewPulls {
		r.doubt("What stands in %s rose by one in %s only: it is taken for the wrench's count of readings.", c.called, count(len(c.distinct()), "reading", "readings"))
	}
}

func (r *reader) isClock(c column) bool {
	if c.binary {
		return strings.Contains(c.place, "epoch: unix") || strings.Contains(c.place, "bcd6")
	}
	return !slices.ContainsFunc(c.distinct(), func(t string) bool { return !isClock(t) })
}

func (r *reader) judges(c column) bool {
	return !slices.ContainsFunc(c.distinct(), func(t string) bool { _, known := judgements[strings.ToUpper(t)]; return !known })
}

// judgement spells the words that were seen and those that usually go with them: a word that is not spelled would
// make the reading be refused.
func (r *reader) judgement(c column) {
	seen := c.distinct()
	spelled := slices.Clone(seen)
	for _, word := range []string{"OK", "LO", "HI", "NG", "NOK", "LOW", "HIGH", "PASS", "FAIL"} {
		if seen[0] == strings.ToLower(seen[0]) {
			word = strings.ToLower(word)
		}
		if !slices.Contains(spelled, word) && r.hasRoom(c, word) {
			spelled = append(spelled, word)
		}
	}
	pairs := make([]string, len(spelled))
	for i, t := range spelled {
		pairs[i] = fmt.Sprintf("%s: %s", quotedText(t), judgements[strings.ToUpper(t)])
	}
	r.add(c, "judgement", "judgement", "the wrench's own judgement: "+sayTexts(seen), "spelled: {"+strings.Join(pairs, ", ")+"}")
	r.doubt("Of the wrench's own judgements only %s %s seen; the other words are usual ones. Write what the manual lists.", sayTexts(seen), wasWere(len(seen)))
}

// hasRoom says whether a text could stand in the column at all.
func (r *reader) hasRoom(c column, text string) bool {
	return r.form() != "columns" && r.form() != "binary" || len(text) <= c.to-c.from
}

func wasWere(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// labelled says whether the frame itself calls the column by one of these words.
func (r *reader) labelled(c column, words ...string) bool {
	return slices.Contains(words, strings.Trim(c.label, "_-"))
}

func percent(c column) bool {
	return !slices.ContainsFunc(c.distinct(), func(t string) bool {
		n, err := strconv.Atoi(t)
		return err != nil || n < 0 || n > 100
	})
}

// isSerial takes what is called so, or text of letters and digits that is long enough to name one wrench of many.
func (r *reader) isSerial(c column) bool {
	t := c.cells[0]
	if r.labelled(c, "serial", "sn", "serialno", "serial_no", "serial-no", "serialnumber", "serial_number", "device", "tool") {
		return true
	}
	if r.form() == "pattern" && c.label == "" {
		return false
	}
	return len(t) >= 5 && strings.ContainsAny(t, "0123456789") && !strings.ContainsAny(t, ".,:;/ ")
}
