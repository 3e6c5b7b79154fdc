package match

// How often a technician does what, before the reading is looked at. Each is a share of all readings in
// millionths, kept as its logarithm, chosen from shop sense rather than fitted to any simulator: a careful person errs in a few readings of a thousand.
var (
	pNext        = lnShare(960_000) // goes on to the next fastener
	pRetry       = lnShare(800_000) // after a failed one: tightens the same again
	pOverAgain   = lnShare(20_000)  // … seldom one that was run over: no pull makes it good
	pMoveOn      = lnShare(150_000) // after a failed one: goes on all the same
	pReHitLast   = lnShare(8_000)   // hits the one just done again: the commonest slip
	pReHitAny    = lnShare(2_000)   // hits some other one again, shared among all that are done
	pNoticed     = lnShare(600_000) // after a second hit: knows it, and goes on with the right one
	pBelieved    = lnShare(350_000) // … or took it for the next one, and leaves that out
	pStops       = lnShare(100_000) // leaves off before the last, because the page takes all for done
	pSkipOne     = lnShare(3_000)   // leaves one out
	pSkipAny     = lnShare(1_000)   // goes somewhere else in the same leg, shared among the open ones
	pMakeGood    = lnShare(10_000)  // goes back to one left behind, shared among those
	pBackToFirst = lnShare(800_000) // … and then mostly to the first of them
	pBackToOther = lnShare(200_000)
	pEarly       = lnShare(3_000)   // begins the next leg with one left open ahead
	pEarlyAny    = lnShare(500)     // begins it in the middle, shared
	pStray       = lnShare(2_000)   // tries the wrench on something else
	pStrayBack   = lnShare(500)     // … of those that loosen: rarely anything but a bolt of the joint
	pAware       = lnShare(500_000) // after turning one back: begins it anew
	pUnaware     = lnShare(500_000) // after turning one back: goes on, and does not know
	pNewBolt     = lnShare(900_000) // after fitting a new bolt: draws that one up, which the bench asks for
	pOtherBolt   = lnShare(100_000) // … or goes on with the others first
	pBackOther   = lnShare(500_000)
	pBackLast    = lnShare(500_000) // turns back the one just done, rather than another
	pHalf        = lnShare(500_000) // at the end of a leg with some left behind: goes back, or does not know
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

// How often a reading is not as it should be.
var (
	pWide       = lnShare(30_000)
	pWild       = lnShare(3_000)
	pUsual      = lnShare(750_000) // pulls that scatter as measured
	pTail       = lnShare(200_000)
	pOwnTail    = lnShare(100_000) // … as the same fastener did before
	pElastic    = lnShare(700_000) // a second turn raises the torque as the first did …
	pYields     = lnShare(300_000) // … or the bolt yields
	pOddAngle   = lnShare(50_000)  // one fastener in twenty has odd friction …
	pOddNow     = lnShare(1_000)   // … but rarely one that was not odd in the stage before;
	pLongAngle  = lnShare(2_000)   // a thread that yields or slips, a ratchet that was re-set: the angle says nothing
	pShortAngle = lnShare(30)      // but a fastener that rises in torque without turning is next to impossible
)

// How readings scatter about what they should be.
const (
	opScatter       = 25    // operator and wrench about a torque target, ‰ of it: ±2.5 % is what a practised hand does
	wideLow         = 600   // a pull given up early or run over: 60 … 130 % of the target
	wideHigh        = 1_300 // ‰
	wildHigh        = 1_500 // beyond 150 % nobody pulls unnoticed
	giveWay         = 1_120 // ‰: a fastener that stands there gives way below this
	residual        = 70    // ‰: how a residual torque scatters, about somewhat more than what its fastener was tightened to
	breakMost       = 1_200 // ‰ of the torque that it stands at: more takes no fastener to break loose
	looseFrom       = 20    // a loose one turns back with less than one part in so many of the highest torque of the joint
	yieldsBelow     = 700   // ‰: who rises by less than that of what they rose in the turn before yields
	stuckFrom       = 900   // ‰: a fastener that stands at 90 % of a torque hardly moves on the way to it
	angleNoise      = 900   // m°: hand and joint, beside the wrench's grain
	maxGrain        = 5_000 // m°
	turnNoise       = 2_500 // m°: how exactly a hand stops at an angle
	loosenNoise     = 12_000
	maxAngle        = 180_000 // m°: span of a stray angle
	tail2           = 6       // square of how much more
	ownTail2        = 4
	sameTorque      = 10  // ‰: how exactly a wrench shows the same torque again; ISO 6789-1 grants it 40 in all
	oddLow          = 400 // ‰: … and turns by 0.4 … 2.5 times what the others do
	oddHigh         = 2_500
	frictionScatter = 100 // ‰: friction under head and in thread, from bolt to bolt of one box
	priorSamples    = 4   // so many readings does that weigh as
	oddFrom         = 300 // ‰: scatter beyond this is odd friction and no measure of the usual
	earlierBuild    = 200 // ‰: how far an earlier build foretells this one
	geometry        = 500 // ‰: … and thread, length and lubrication
	maxTools        = 16
	otherKind       = 250     // ‰: how far one kind of fastener foretells another
	otherStart      = 400     // ‰: … and a pull from slack one from a seated torque
	windSpread      = 250     // ‰
	riseFrom        = 5       // a rise of less than a fifth tells no rate
	priorRate       = 800_000 // µ° per N·m before anything is learned: a mid-sized engine bolt turns about 0.8° per N·m
	againScatter    = 200     // ‰: … of the rise of a second turn of the same fastener, as long as it does not yield
	ownDrawn        = 430     // ‰ of a pull: so much do the others weigh beside a fastener's own pulls; friction scatters more between them
	ownScatter      = 80      // ‰: scatter of one fastener from pull to pull, before it was seen
	otherStage      = 4       // times the square of that: how far one stage foretells another
	ownSamples      = 6       // so many readings does that weigh as
	knownFrom       = 3       // so many of a kind must have been seen to call one of them odd
	maxRate         = 1 << 30
	maxSamples      = 24
	maxBehind       = 8       // of so many left behind each is thought of
	maxTurned       = 1 << 30 // m°
	maxStanding     = 1 << 30 // mN·m
	maxHypotheses   = 48
	pruneAt         = 9 * oneNat  // hypotheses so much lighter than the best are let go
	changeOfMind    = ln2         // a finding already said is kept until another is twice as likely
	tagPenalty      = 25 * oneNat // a tag, a scanned label or a person's word is nearly, not quite, always right
	namedPenalty    = 40 * oneNat
	verifyEarly     = 3 * oneNat / 2 // a verification while several steps are left to tighten: it comes later, often by another person
	skipStage       = oneNat / 2     // a fastener takes a stage without the one before: who missed it does not know
	learnFrom       = 600_000
)
