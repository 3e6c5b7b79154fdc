package match

// How often a technician does what, before the reading is looked at. Each is a share of all readings in millionths, kept as its
// logarithm, chosen from shop sense rather than fitted to any simulator: a careful person errs in a few readings of a thousand.
var (
	pNext        = lnShare(960_000) // goes on to the next fastener
	pRetry       = lnShare(800_000) // after a failed one: tightens the same again, as the bench asks
	pOverAgain   = lnShare(20_000)  // after one that was run over: tightens it again all the same, though no pull makes it good
	pMoveOn      = lnShare(150_000) // after a failed one: goes on all the same
	pReHitLast   = lnShare(8_000)   // hits the one just done again: the commonest slip
	pReHitAny    = lnShare(2_000)   // hits some other one again, shared among all that are done
	pNoticed     = lnShare(600_000) // after a second hit: knows it, and goes on with the right one
	pBelieved    = lnShare(350_000) // after a second hit: took it for the next one, and leaves that out
	pStops       = lnShare(100_000) // leaves off before the last, because the page takes all for done
	pSkipOne     = lnShare(3_000)   // leaves one out
	pSkipAny     = lnShare(1_000)   // goes somewhere else in the same leg, shared among the open ones
	pMakeGood    = lnShare(10_000)  // goes back to one left behind, shared among those
	pBackToFirst = lnShare(800_000) // of those left behind: goes to the first, which the bench asks for
	pBackToOther = lnShare(200_000) // of those left behind: goes to another, shared among them
	pEarly       = lnShare(3_000)   // begins the next leg with one left open ahead
	pEarlyAny    = lnShare(500)     // begins it in the middle, shared
	pStray       = lnShare(2_000)   // tries the wrench on something else
	pStrayBack   = lnShare(500)     // loosens something else: rarely is it anything but a bolt of the joint
	pAware       = lnShare(500_000) // after turning one back: begins it anew; as likely as not
	pUnaware     = lnShare(500_000) // after turning one back: goes on, and does not know
	pNewBolt     = lnShare(900_000) // after fitting a new bolt: draws that one up, which the bench asks for
	pOtherBolt   = lnShare(100_000) // after fitting a new bolt: goes on with the others first
	pBackLast    = lnShare(500_000) // turns back the one just done; as likely as all the others together
	pBackOther   = lnShare(500_000) // turns back another one, shared among them
	pHalf        = lnShare(500_000) // one of two things, neither likelier: whether one goes back at the end of a leg, say
)

// Why a bolt is renewed, as weights beside each other. They were tried in the trial's world of renewals, at 0.5 … 0.99,
// 0.02 … 0.3 and 0.001 … 0.05. Next to no verdict hangs on them: of 185 000 good pulls after a renewal 41 to 51 had a false one
// at once with one half or more. What does is doubt. Where the first is far above the others, a bolt renewed by chance
// explains away another one's bad pull: of 3 700 incomplete joints 15 were called complete at 0.99, 0.02 and 0.001, and 6 or 7
// at all others. Where the second is far above the third, sound joints are doubted, for the bolt to come may have been
// pulled already and the one before it left out.
var (
	pBadRenewed   = lnShare(500_000) // for one whose pull was not as it should be
	pGoodRenewed  = lnShare(100_000) // for a good one: by mistake, or to be on the safe side
	pAheadRenewed = lnShare(20_000)  // for one that the stage in work has not come to yet
)

// How often a reading is not as it should be: shares of all pulls in millionths, kept as their logarithms and chosen as
// those of the technician are. How far off such a reading is stands in scatter.go.
var (
	pWide       = lnShare(30_000)  // a pull is given up early or run over: wideLow … wideHigh
	pWild       = lnShare(3_000)   // its torque is anything up to wildHigh: a tenth as often
	pUsual      = lnShare(750_000) // friction scatters as measured
	pTail       = lnShare(200_000) // it scatters more, by the root of tail2: its tails are heavier than a normal density's
	pOwnTail    = lnShare(100_000) // a fastener is as much off what it did before: half as often, for its own friction is known
	pElastic    = lnShare(700_000) // a second turn raises the torque as the first did
	pYields     = lnShare(300_000) // a second turn raises it by less, for the bolt yields
	pOddAngle   = lnShare(50_000)  // one fastener in twenty has odd friction
	pOddNow     = lnShare(1_000)   // one has odd friction that had none in the stage before: most of the friction is its own
	pLongAngle  = lnShare(2_000)   // the angle says nothing: a thread that yields or slips, a ratchet that was re-set
	pShortAngle = lnShare(30)      // a fastener rises in torque without turning, which is next to impossible
)

// windShares is what part of a slack fastener's turn the wind-up may be before any was seen, ‰, and how likely. In the worlds
// of the trial it is 1 … 14 % with a common wrench, and up to 39 % with one that winds up much.
var windShares = []struct {
	of     int64
	weight nats
}{{70, lnShare(700_000)}, {220, lnShare(270_000)}}

// What speaks for or against a branch beside its reading, in µnat.
const (
	tagPenalty   = 25 * oneNat    // against all but the fastener of a tag or a scanned label: nearly, not quite, always right
	namedPenalty = 40 * oneNat    // against all but the fastener that a person named: more than a tag, less than never
	verifyEarly  = 3 * oneNat / 2 // against a verification while several are left to tighten: it comes later, often by another
	skipStage    = oneNat / 2     // against a stage without the one before: little, for who missed that one does not know
	changeOfMind = ln2            // a finding already said is kept until another is twice as likely, or it would flicker
	learnFrom    = 600_000        // millionths: a pull that is likelier at its step than elsewhere teaches; others mislead
)

// How far the search goes: what bounds the time and memory of a reading. The trials of DEVELOPERS.md were made with it.
const (
	maxHypotheses = 48         // hypotheses that are carried on: their room is laid out twice for every run (generation)
	pruneAt       = 9 * oneNat // µnat: a hypothesis 8 100 times less likely than the best is let go
	maxBehind     = 8          // of so many left behind each is thought of, of more the first and the last few
	maxTools      = 16         // wrenches told apart at a joint: nobody lays out so many; from there they share the last place
	maxSamples    = 24         // pulls that a median is of: it is known by then to a quarter of what single ones scatter by
	maxRate       = 1 << 30    // µ° per N·m, and µN·m per °: what the 32 bits of a fastener's rates hold, far beyond any joint
	maxTurned     = 1 << 30    // m°: what those of its turn hold
	maxStanding   = 1 << 30    // mN·m: what those of its torque hold
)
