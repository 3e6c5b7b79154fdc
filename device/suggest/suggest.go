// Package suggest proposes a profile for a wrench that nobody has described yet, from a capture of what it sent and
// from what its display showed. It finds out how the stream falls into frames, what guards them, where the fields stand
// and what they mean:
//
//	capture ─→ cuts ─→ seal ─→ layouts ─→ match with the display ─→ meaning of the rest ─→ YAML ─→ decode and compare
//
// Every step gives several answers, and the best that leads to a profile wins. A proposal is only made when the finished
// profile, played over the capture, gives every shown value in its order; what could not be known is said beside it.
package suggest

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/profile"
	"witnessmark/device/trial"
)

// Asked is what a person can say about the wrench. A zero value was not said.
type Asked struct {
	Name   string // of the profile
	Baud   int
	Bits   int
	Parity string
	Stop   string
}

// Proposal is a profile that decodes what was shown.
type Proposal struct {
	YAML    string           // the file, with comments for the person who goes on from it
	Profile *profile.Profile // the same, parsed
	Unsure  []string         // what could not be known, a sentence each
	Found   []Found          // the frame of each shown value, in their order

	Readings int // frames of the capture that the profile decodes
	Refused  int // frames that it refuses
	Ignored  int // frames that it takes for no readings
}

// Found is a shown value and the frame that holds it.
type Found struct {
	Shown   string
	Frame   int // among all frames of the capture, from 1
	At      time.Duration
	Reading device.Reading
}

// nothing ends a search without a proposal and says what to record instead.
func nothing(advice string) (Proposal, error) {
	return Proposal{}, errors.New("no profile was found: " + advice)
}

// Propose finds a profile for the capture. The error is a sentence that says what to record instead.
func Propose(c capture.Capture, shown []Shown, asked Asked) (Proposal, error) {
	if len(shown) == 0 {
		return nothing("write down what the display showed for at least one pull of the capture, better for three that differ")
	}
	all := streams(c)
	if len(all) == 0 {
		return nothing("the capture holds no bytes; record again while the wrench is pulled, and if nothing comes, " +
			"look in the manual whether its output must be switched on or asked for")
	}
	s := search{capture: c, streams: all, shown: shown, asked: asked}
	if p := parity(all); p != "" && asked.Bits != 7 {
		s.strip(p)
	}
	if best, ok := s.run(); ok {
		return s.finish(best.Proposal), nil
	}
	return nothing(s.advice())
}

// search is one run through all that is thinkable.
type search struct {
	capture capture.Capture
	streams []stream
	shown   []Shown
	asked   Asked
	unsure  []string

	framed int      // the most frames that any cut gave
	missed string   // the closest miss, for advice
	words  []string // how the frames begin that hold what was shown, where that is a word
}

// strip reads the capture as characters of 7 bits with parity.
func (s *search) strip(parity string) {
	s.streams = withoutParity(s.streams)
	s.capture.Chunks = slices.Clone(s.capture.Chunks)
	for i, c := range s.capture.Chunks {
		s.capture.Chunks[i].Bytes = slices.Clone(c.Bytes)
		for k := range c.Bytes {
			s.capture.Chunks[i].Bytes[k] &= 0x7f
		}
	}
	s.asked.Bits = 7
	s.asked.Parity = cmp.Or(s.asked.Parity, parity)
	s.unsure = append(s.unsure, fmt.Sprintf("Every byte has %s parity: the wrench sends 7 bits with %s parity, which is written down here. "+
		"The capture was recorded with 8 bits; record again with --bits 7 --parity %s before you try the profile on it.", parity, parity, parity))
}

// finish adds what only the whole search could tell.
func (s *search) finish(p Proposal) Proposal {
	if len(s.words) > 1 {
		p.Unsure = append(p.Unsure, fmt.Sprintf("Frames that begin with %s all hold what was shown, in this order; those were taken that fit best. "+
			"If the wrench sends what it feels while it is pulled, these are not the ones.", strings.Join(s.words, ", ")))
	}
	return p
}

// attempt is a proposal with its worth.
type attempt struct {
	Proposal
	score int
	share int    // of its frames that were shown, in 300
	sort  string // by what its frames are told from others
}

// beats says whether a is better than b. Of frames of another sort those win of which more were shown: a wrench that
// also sends what it feels while it is pulled sends that far more often.
func (a attempt) beats(b attempt) bool {
	if a.sort != b.sort {
		return a.score+a.share > b.score+b.share
	}
	return a.score > b.score
}

// mostTried bounds the guesses that are written out for one layout.
const mostTried = 12

func (s *search) run() (best attempt, ok bool) {
	for _, c := range cuts(s.streams, len(s.shown)) {
		s.framed = max(s.framed, len(c.samples))
		v := findSeal(c, s.asked.Bits == 7)
		whole := c
		whole.again(s.streams, v.seal)
		found := s.try(whole, v, &best)
		if !found && !v.none() {
			found = s.try(c, verdict{}, &best)
		}
		ok = ok || found
	}
	return best, ok
}

// try goes through all layouts of a cut.
func (s *search) try(c cut, v verdict, best *attempt) (found bool) {
	for _, t := range tables(c, v.seal, len(s.shown)) {
		if t.form() == "binary" && told(s.shown) < leastTold(v) {
			continue
		}
		guesses := match(t, s.shown)
		for _, g := range guesses[:min(len(guesses), mostTried)] {
			a, ok := s.write(c, v, t, g)
			if !ok {
				continue
			}
			if best.Profile == nil || a.beats(*best) {
				*best = a
			}
			if w := t.word(); w != "" && !slices.Contains(s.words, w) {
				s.words = append(s.words, w)
			}
			found = true
			break
		}
	}
	return found
}

// told counts what the shown values tell: every torque and every angle that differs.
func told(shown []Shown) int {
	seen := map[string]bool{}
	for _, s := range shown {
		seen["T"+s.Torque.number] = true
		if s.Angle != nil {
			seen["A"+s.Angle.number] = true
		}
	}
	return len(seen)
}

// leastTold is how much must be told before bytes are taken for numbers: some bytes hold any number by accident.
func leastTold(v verdict) int {
	if v.none() {
		return 4
	}
	return 2
}

// tables gives every layout that the frames of a cut may have.
func tables(c cut, s seal, least int) (all []table) {
	samples, bodies := texts(c, s)
	if !s.none() && len(c.end) == 0 && !c.any && s.at+s.width < 0 {
		bodies = nil // text ends with its check
	}
	if len(bodies) >= least && len(bodies)*2 > len(c.samples) || len(bodies) >= 3 {
		if all = objectTables(samples, bodies, least); len(all) > 0 {
			return all
		}
		all = append(all, separatedTables(samples, bodies, least)...)
		all = append(all, columnedTables(samples, bodies, least)...)
		all = append(all, patternedTables(samples, bodies, least)...)
	}
	if len(c.end) > 0 || c.line { // the bytes of a number may look like the end, so no profile reads numbers there
		return all
	}
	return append(all, binaryTables(c, s, least)...)
}

// mostFields is how many a profile may list.
const mostFields = 48

// write makes a profile of a guess and plays the capture through it.
func (s *search) write(c cut, v verdict, t table, g guess) (attempt, bool) {
	r := &reader{table: t, guess: g, shown: s.shown}
	r.read()
	if len(r.fields) > mostFields {
		return attempt{}, false
	}
	d := draft{cut: c, verdict: v, reader: r, search: s}
	d.ignored = d.ignorable()
	text := d.text()
	p, err := profile.Parse("proposal.yaml", []byte(text))
	if err != nil {
		s.missed = fmt.Sprintf("the profile that was made is wrong, which is a fault of this program: %v", err)
		return attempt{}, false
	}
	a := attempt{Proposal: Proposal{YAML: text, Profile: p}}
	if !s.play(&a) {
		if !r.hasWay && slices.ContainsFunc(s.shown, func(w Shown) bool { return w.Direction == device.Loosen }) {
			s.missed = "torque and angle were found, but nothing in the frames tells the pull that loosened from the others; leave it out of what was shown, " +
				"and look in the manual whether the wrench can be set to tell the direction"
		}
		return attempt{}, false
	}
	a.Unsure = d.doubts(&a.Proposal)
	a.score, a.share, a.sort = d.score(&a.Proposal), 300*len(s.shown)/len(t.samples), cmp.Or(t.sort, t.word())
	return a, true
}

// play decodes the capture and finds every shown value in its order.
func (s *search) play(a *attempt) bool {
	n := 0
	trial.Play(a.Profile, s.capture, func(f trial.Frame) {
		n++
		switch r := f.Result; {
		case r.Ignored:
			a.Ignored++
		case r.Refusal != nil:
			a.Refused++
		default:
			a.Readings++
			if k := len(a.Found); k < len(s.shown) && s.shown[k].readingFits(r.Reading) {
				a.Found = append(a.Found, Found{s.shown[k].Text, n, f.At, *r.Reading})
			}
		}
	}, func(time.Duration) {})
	return len(a.Found) == len(s.shown)
}

// advice says what to record instead.
func (s *search) advice() string {
	switch {
	case disturbed(s.streams) > 0.3:
		return "most of the bytes are no text; the baud rate, the bits or the parity are probably wrong. Record again with another speed: " +
			"9600, 19200, 38400, 115200, 4800 and 2400 are usual. If the manual says that the wrench sends its numbers as bytes, show " +
			"at least three pulls that differ, with their angles if the display has them"
	case s.missed != "":
		return s.missed
	}
	if c, ok := lines(s.streams); ok {
		s.framed = len(c.samples) // nothing is as sure as these
	}
	if s.framed < len(s.shown) {
		return fmt.Sprintf("the capture falls into %s, but %s given; record again, with a pause of two seconds between the pulls",
			count(s.framed, "frame", "frames"), count(len(s.shown), "shown value was", "shown values were"))
	}
	return "no place in the frames holds all the shown values in their order. Write them exactly as the display showed them, with all digits and the unit, " +
		"in the order of the pulls; leave out what you are not sure of. Best is a new capture of three to five pulls that differ much in torque and angle"
}
