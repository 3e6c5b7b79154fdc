package trial

import (
	"slices"

	"witnessmark/audit/procedure"
)

// How bolts are renewed in a run that has it. Shares, from shop sense.
const (
	twoRenewed  = 0.2  // in two of its legs
	loosened    = 0.25 // the old bolt is turned back with the wrench that is watched
	atOnce      = 0.8  // a bad pull is seen to at once, rather than later in its leg
	drawnAtOnce = 0.8  // the new bolt is drawn up at once, rather than at the end of the leg
	inItsPlace  = 0.8  // … and one ahead of its pull gets that in its turn
)

// renewals draws the legs in which a bolt is renewed, with the reason.
func (t *technician) renewals() map[int]Way {
	out := map[int]Way{}
	if t.world.Renewals == 0 || t.source.Float64() >= t.world.Renewals {
		return out
	}
	n := 1
	if len(t.legs) > 1 && t.source.Float64() < twoRenewed {
		n = 2
	}
	reasons := []Way{RenewedLow, RenewedHigh, RenewedAhead, RenewedGood}
	for _, l := range t.source.Perm(len(t.legs))[:n] {
		out[l] = reasons[t.source.IntN(len(reasons))]
		t.way = out[l]
	}
	if n == 2 {
		t.way = RenewedTwo
	}
	return out
}

// renewing puts the renewal of a bolt into the pulls of a leg, and the drawing up of the new one. Where one was left out before,
// and a good bolt is renewed right after its pull, all looks as if that pull had been the one before it, and the bolt been
// renewed ahead of its own: that slip leaves no trace.
func (t *technician) renewing(why Way, pulls []pull) []pull {
	i := t.ordinary(pulls)
	if i < 0 {
		return pulls
	}
	step, at, stands := pulls[i].step, i+1, true
	switch why {
	case RenewedAhead:
		at = t.source.IntN(i + 1)
		stands = t.steps[step].Stage > 0
	case RenewedGood:
		at += t.source.IntN(len(pulls) - i)
		t.hidden = t.hidden || at == i+1 && pulls[i].step-pulls[0].step > i
	default:
		pulls[i].share = t.bad(why, step)
		if t.source.Float64() >= atOnce {
			at += t.source.IntN(len(pulls) - i)
		}
	}
	var change []pull
	if stands && t.source.Float64() < loosened {
		change = append(change, pull{step: t.stood(step, why), back: true})
	}
	change = append(change, pull{step: step, renew: true})
	return t.drawnUp(why, pulls, i, at, change)
}

// ordinary draws one of the pulls that are neither a slip nor next to one, -1: there is none.
func (t *technician) ordinary(pulls []pull) int {
	var fit []int
	for i, p := range pulls {
		slip := p.slip || slices.ContainsFunc(pulls, func(o pull) bool { return o.slip && o.step == p.step })
		if !slip && p.step >= 0 {
			fit = append(fit, i)
		}
	}
	if len(fit) == 0 {
		return -1
	}
	return fit[t.source.IntN(len(fit))]
}

// bad is the share of its target that a bad pull comes to.
func (t *technician) bad(why Way, step int) float64 {
	switch {
	case why == RenewedLow:
		return 0.6 + 0.25*t.source.Float64()
	case t.steps[step].Action == procedure.TurnBy:
		return 1.15 + 0.2*t.source.Float64()
	}
	return 1.15 + 0.15*t.source.Float64()
}

// stood is the step of the last pull that an old bolt had.
func (t *technician) stood(step int, why Way) int {
	if why != RenewedAhead {
		return step
	}
	return t.before(step)[t.steps[step].Stage-1]
}

// before are the steps of the same fastener in the stages before.
func (t *technician) before(step int) []int {
	var out []int
	for i := range t.steps[:step] {
		if t.steps[i].Fastener == t.steps[step].Fastener {
			out = append(out, i)
		}
	}
	return out
}

// drawnUp puts a change of the i-th pull's bolt before the at-th pull, and the drawing up of the new one where it belongs.
func (t *technician) drawnUp(why Way, pulls []pull, i, at int, change []pull) []pull {
	step, ahead := pulls[i].step, why == RenewedAhead
	var anew []pull
	for _, s := range t.before(step) {
		anew = append(anew, pull{step: s, share: 1})
	}
	now := t.source.Float64() < drawnAtOnce
	if ahead && now && t.source.Float64() < inItsPlace {
		return slices.Insert(pulls, at, append(change, anew...)...)
	}
	anew = append(anew, pull{step: step, share: 1})
	if ahead {
		pulls = slices.Delete(pulls, i, i+1)
	}
	if t.steps[step].Stage == 0 && (ahead || !now) { // slack as the others, and out of the order
		anew[0].shadow = true
		for k := at; k < len(pulls); k++ {
			pulls[k].shadow = true
		}
	}
	if now {
		return slices.Insert(pulls, at, append(change, anew...)...)
	}
	return append(slices.Insert(pulls, at, change...), anew...)
}

// renew takes a new bolt out of the box, and the person says so.
func (t *technician) renew(fastener int) {
	t.bolts[fastener], t.turned[fastener] = t.box(), turned{stage: -1}
	for i := range t.steps {
		if t.steps[i].Fastener == fastener {
			t.done[i] = false
		}
	}
	t.renewed = append(t.renewed, fastener)
	t.watching = true
	t.acts = append(t.acts, Act{After: len(t.readings), Renewed: t.joint.Fasteners[fastener].ID})
}
