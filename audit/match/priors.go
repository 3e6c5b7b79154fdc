package match

import "witnessmark/audit"

// How often a technician does what, before the reading is looked at. Each is a share of all readings, chosen from
// shop sense rather than fitted to any simulator: a careful person errs in a few readings of a thousand.
const (
	pNext        audit.Share = 960_000 // goes on to the next fastener
	pRetry       audit.Share = 800_000 // after a failed one: tightens the same again
	pMoveOn      audit.Share = 150_000 // after a failed one: goes on all the same
	pReHitLast   audit.Share = 10_000  // hits the one just done again: the commonest slip
	pReHitAny    audit.Share = 2_000   // hits some other one again, shared among all that are done
	pSkipOne     audit.Share = 3_000   // leaves one out
	pSkipAny     audit.Share = 2_000   // goes somewhere else in the same leg, shared among the open ones
	pMakeGood    audit.Share = 10_000  // goes back to one left behind, shared among those
	pBackToFirst audit.Share = 800_000 // … and then mostly to the first of them
	pEarly       audit.Share = 3_000   // begins the next leg with one left open ahead
	pEarlyAny    audit.Share = 500     // begins it in the middle, shared
	pStray       audit.Share = 3_000   // tries the wrench on something else
	pHalf        audit.Share = 500_000 // at the end of a leg with some left behind: goes back, or does not know
)

// How readings scatter about what they should be.
const (
	opScatter     = 25 // operator and wrench about a torque target, ‰ of it: ±2.5 % is what a practised hand does
	pWide         = audit.Share(30_000)
	pWild         = audit.Share(3_000)
	wideLow       = 600   // a pull given up early or run over: 60 … 130 % of the target
	wideHigh      = 1300  // ‰
	wildHigh      = 1500  // beyond 150 % nobody pulls unnoticed
	windUp        = 1_500 // m°: elastic twist of wrench, socket and bolt shank before a set fastener moves
	angleNoise    = 1_500 // m°: resolution and hand
	turnNoise     = 2_500 // m°: how exactly a hand stops at an angle
	loosenNoise   = 12_000
	maxAngle      = 180_000             // m°: span of a stray angle
	pOddAngle     = audit.Share(50_000) // one fastener in twenty has odd friction …
	oddLow        = 400                 // ‰: … and turns by 0.4 … 2.5 times what the others do
	oddHigh       = 2_500
	pLongAngle    = audit.Share(2_000) // a thread that yields or slips, a ratchet that was re-set: the angle says nothing
	pShortAngle   = audit.Share(30)    // but a fastener that rises in torque without turning is next to impossible
	nearFirst     = nats(100_000)      // of equals, the one that comes sooner in the order is slightly likelier
	priorRate     = 800                // m° per N·m before anything is learned: a mid-sized engine bolt turns about 0.8° per N·m
	maxHypotheses = 48
	pruneAt       = 10 * oneNat // hypotheses so much lighter than the best are let go
	changeOfMind  = ln2         // a finding already said is kept until another is twice as likely
	tagPenalty    = 25 * oneNat // a tag, a scanned label or a person's word is nearly, not quite, always right
	namedPenalty  = 40 * oneNat
	skipStage     = oneNat / 2 // a fastener takes a stage without the one before: who missed it does not know
)

// rateScatter is the relative scatter of the angle per torque, in ‰, after n fasteners were seen.
func rateScatter(n int) int64 {
	switch {
	case n == 0:
		return 700
	case n == 1:
		return 320
	case n == 2:
		return 220
	case n < 6:
		return 160
	}
	return 120 // friction under head and in thread differs so much between bolts of one box
}
