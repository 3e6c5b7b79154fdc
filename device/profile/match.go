package profile

import (
	"fmt"
	"regexp/syntax"
	"unicode/utf8"
)

// matcher fits an expression to a whole line without allocating. It looks one character ahead and goes back only where
// that leaves a choice, as few expressions do that draw a line of a wrench; what takes it too many steps is left to
// the library, which takes a time that grows with the line only. Both find the same: of several ways to fit, the first
// in the order of the expression.
type matcher struct {
	steps  []matchStep
	start  uint32
	groups int // ends of groups, those of the whole included
}

// matchStep is an instruction of the compiled expression.
type matchStep struct {
	op       syntax.InstOp
	out, arg uint32
	ascii    asciiSet     // which of these characters fit
	rest     *syntax.Inst // for the others
	first    asciiSet     // of a choice: with which of these characters the first way can go on
	second   asciiSet     // the other way
}

type asciiSet [2]uint64

func (s *asciiSet) add(c rune)      { s[c/64] |= 1 << (c % 64) }
func (s *asciiSet) has(c byte) bool { return s[c>>6&1]>>(c&63)&1 == 1 }

func newMatcher(tree *syntax.Regexp) (*matcher, error) {
	prog, err := syntax.Compile(tree.Simplify())
	switch {
	case err != nil:
		return nil, err
	case len(prog.Inst) > maxInstructions:
		return nil, fmt.Errorf("%d steps, expected at most %d: a line has 512 bytes", len(prog.Inst), maxInstructions)
	}
	m := &matcher{steps: make([]matchStep, len(prog.Inst)), start: uint32(prog.Start), groups: prog.NumCap}
	for i := range prog.Inst {
		in := &prog.Inst[i]
		m.steps[i] = matchStep{op: in.Op, out: in.Out, arg: in.Arg, rest: in}
		switch in.Op {
		case syntax.InstRune, syntax.InstRune1, syntax.InstRuneAny, syntax.InstRuneAnyNotNL:
			m.steps[i].op = syntax.InstRune
			for c := range rune(utf8.RuneSelf) {
				if in.MatchRune(c) {
					m.steps[i].ascii.add(c)
				}
			}
		}
	}
	for i := range m.steps {
		if s := &m.steps[i]; s.op == syntax.InstAlt || s.op == syntax.InstAltMatch {
			s.first, s.second = m.next(s.out), m.next(s.arg)
		}
	}
	return m, nil
}

// next is every ASCII character that can be taken next from a step.
func (m *matcher) next(step uint32) (all asciiSet) {
	seen := make([]bool, len(m.steps))
	todo := []uint32{step}
	for len(todo) > 0 {
		step, todo = todo[len(todo)-1], todo[:len(todo)-1]
		if seen[step] {
			continue
		}
		seen[step] = true
		switch s := &m.steps[step]; s.op {
		case syntax.InstRune:
			all[0], all[1] = all[0]|s.ascii[0], all[1]|s.ascii[1]
		case syntax.InstAlt, syntax.InstAltMatch:
			todo = append(todo, s.out, s.arg)
		case syntax.InstCapture, syntax.InstEmptyWidth, syntax.InstNop:
			todo = append(todo, s.out)
		}
	}
	return all
}

// maxInstructions bounds an expression, in which a few repetitions of repetitions may stand for millions of steps.
const maxInstructions = 2000

// maxCaptures bounds the ends of groups: two of each, and two of the whole.
const maxCaptures = 2*maxFields + 2

// maxSteps is how many steps a line may take before it is left to the library.
const maxSteps = 4096

// attempt is one line being fitted.
type attempt struct {
	line     []byte
	left     int // steps
	captures [maxCaptures]int16
}

// fit says whether the line fits. sure is false if that was not found out.
func (m *matcher) fit(a *attempt) (fits, sure bool) {
	a.left = maxSteps
	for i := range a.captures[:m.groups] {
		a.captures[i] = -1
	}
	fits = m.from(m.start, 0, a)
	return fits, fits || a.left >= 0
}

// from goes on at a step and a place in the line. What a failed way captured stays: who tries another restores it.
func (m *matcher) from(step uint32, at int, a *attempt) bool {
	for {
		if a.left--; a.left < 0 {
			return false
		}
		s := &m.steps[step]
		step = s.out
		switch s.op {
		case syntax.InstRune:
			width := s.takes(a.line, at)
			if width == 0 {
				return false
			}
			at += width
		case syntax.InstAlt, syntax.InstAltMatch:
			first, second := s.ways(a.line, at)
			switch {
			case first && second:
				before := a.captures
				if m.from(s.out, at, a) {
					return true
				}
				a.captures, step = before, s.arg
			case second:
				step = s.arg
			case !first:
				return false
			}
		case syntax.InstCapture:
			a.captures[s.arg] = int16(at)
		case syntax.InstEmptyWidth:
			if !holds(syntax.EmptyOp(s.arg), a.line, at) {
				return false
			}
		case syntax.InstNop:
		default:
			return s.op == syntax.InstMatch && at == len(a.line)
		}
	}
}

// takes gives the width of the character at a place, if it fits.
func (s *matchStep) takes(line []byte, at int) int {
	if at == len(line) {
		return 0
	}
	if c := line[at]; c < utf8.RuneSelf {
		return int(s.ascii[c>>6&1] >> (c & 63) & 1)
	}
	r, width := utf8.DecodeRune(line[at:])
	if !s.rest.MatchRune(r) {
		return 0
	}
	return width
}

// ways says which ways of a choice can go on. At the end of the line, and before what is not ASCII, that is not known.
func (s *matchStep) ways(line []byte, at int) (first, second bool) {
	if at == len(line) || line[at] >= utf8.RuneSelf {
		return true, true
	}
	return s.first.has(line[at]), s.second.has(line[at])
}

// holds says whether an assertion such as \b holds between the characters before and after a place.
func holds(asked syntax.EmptyOp, line []byte, at int) bool {
	before, after := rune(-1), rune(-1)
	if at > 0 {
		before, _ = utf8.DecodeLastRune(line[:at])
	}
	if at < len(line) {
		after, _ = utf8.DecodeRune(line[at:])
	}
	return asked&^syntax.EmptyOpContext(before, after) == 0
}
