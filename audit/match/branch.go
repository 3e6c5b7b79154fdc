package match

import (
	"witnessmark/audit"
)

type adder func(step int, k Kind, outOfOrder bool, prior nats)

func (m *Matcher) open(h *hypothesis, step int) bool {
	s := &m.steps[step]
	return h.bolts[s.Fastener].done&(1<<s.Stage) == 0
}

// nextOpen is the first open step after pos, else the first open one at all, else -1.
func (m *Matcher) nextOpen(h *hypothesis) int {
	for i := h.pos + 1; i < len(m.steps); i++ {
		if m.open(h, i) {
			return i
		}
	}
	for i := range m.steps {
		if m.open(h, i) {
			return i
		}
	}
	return -1
}

// retry is the open step to be done again after the last pull failed or turned a fastener back, else -1.
func (m *Matcher) retry(h *hypothesis) int {
	if h.last < 0 || !h.bolts[m.steps[h.last].Fastener].failed {
		return -1
	}
	f := m.steps[h.last].Fastener
	for st := 0; st <= m.steps[h.last].Stage; st++ {
		if i := m.at[st][f]; i >= 0 && m.open(h, i) {
			return i
		}
	}
	return -1
}

// forward adds the open steps: the retry, the next one, those ahead in its leg, those left behind, the next leg.
func (m *Matcher) forward(h *hypothesis, add adder) {
	e := m.nextOpen(h)
	if e < 0 {
		return
	}
	r := m.retry(h)
	if r >= 0 {
		add(r, Retry, false, lnShare(pRetry))
	}
	behind := m.leftBehind(h, r)
	crossing := h.pos >= 0 && m.leg[e] > m.leg[h.pos] && len(behind) > 0
	// One who was just told that it was out of order may well go back.
	goesBack := crossing || (len(behind) > 0 && h.tip != nil && h.tip.outOfOrder)
	if e != r {
		add(e, Next, crossing, m.nextPrior(r >= 0, goesBack))
	}
	for k, i := range behind {
		if i == e {
			continue
		}
		p := pMakeGood
		if goesBack {
			p = pHalf
		}
		add(i, MakeGood, true, lnShare(p)+backTo(k, len(behind)))
	}
	m.ahead(h, e, r, add)
}

// backTo shares out a going back among n that were left behind: mostly to the first, which the bench asks for.
func backTo(k, n int) nats {
	switch {
	case n == 1:
		return 0
	case k == 0:
		return lnShare(pBackToFirst)
	}
	return lnShare(audit.Certain-pBackToFirst) - ln(int64(n-1))
}

func (m *Matcher) nextPrior(retrying, goesBack bool) nats {
	p := lnShare(pNext)
	if retrying {
		p = lnShare(pMoveOn)
	}
	if goesBack {
		p += lnShare(pHalf)
	}
	return p
}

// leftBehind lists the open steps up to pos, but the one to be retried.
func (m *Matcher) leftBehind(h *hypothesis, retry int) []int {
	var behind []int
	for i := 0; i <= h.pos; i++ {
		if i != retry && m.open(h, i) {
			behind = append(behind, i)
		}
	}
	return behind
}

// ahead adds what lies beyond the next step e: the rest of its leg, and the leg after it.
func (m *Matcher) ahead(h *hypothesis, e, retry int, add adder) {
	for d, k := range []Kind{Skip, Early} {
		one, any := lnShare(pSkipOne), lnShare(pSkipAny)
		if k == Early {
			one, any = lnShare(pEarly), lnShare(pEarlyAny)
		}
		steps := m.openInLeg(h, m.leg[e]+d, e, retry)
		for n, i := range steps {
			if n == 0 {
				add(i, k, true, one)
			} else {
				add(i, k, true, any-ln(int64(len(steps)))-nats(n)*nearFirst)
			}
		}
	}
}

func (m *Matcher) openInLeg(h *hypothesis, leg, after, but int) []int {
	var steps []int
	for i := after + 1; i < len(m.steps) && m.leg[i] <= leg; i++ {
		if m.leg[i] == leg && i != but && m.open(h, i) {
			steps = append(steps, i)
		}
	}
	return steps
}

// again adds the re-hits: the last step, and the highest done stage of every other fastener.
func (m *Matcher) again(h *hypothesis, add adder) {
	last := -1
	if h.last >= 0 && !m.open(h, h.last) {
		last = h.last
		add(last, ReHit, false, lnShare(pReHitLast))
	}
	var others []int
	for f := range h.bolts {
		for st := len(m.at) - 1; st >= 0; st-- {
			i := m.at[st][f]
			if i >= 0 && !m.open(h, i) {
				if i != last {
					others = append(others, i)
				}
				break
			}
		}
	}
	for _, i := range others {
		add(i, ReHit, false, lnShare(pReHitAny)-ln(int64(len(others))))
	}
}

// back adds the fasteners that a loosening outside a loosening stage may have turned back.
func (m *Matcher) back(h *hypothesis, add adder) {
	var set []int
	for f := range h.bolts {
		if h.bolts[f].stage >= 0 {
			set = append(set, m.at[h.bolts[f].stage][f])
		}
	}
	for _, i := range set {
		p := audit.Share(500_000)
		if h.last < 0 || m.steps[i].Fastener != m.steps[h.last].Fastener {
			p /= audit.Share(len(set))
		}
		add(i, Loosened, false, lnShare(p))
	}
}
