package match

// How readings scatter about what they should be. Every scatter is a standard deviation; one in ‰ is of the value itself. Where
// nothing is said of why a figure is just that and no other, it is a guess, with which the figures of the trials in
// DEVELOPERS.md were reached.

// Torque.
const (
	// ‰: the operator and the wrench about a torque target. ±2.5 % is what a practised hand does.
	opScatter = 25
	// ‰ of the target: between these lies a pull that was given up early or run over.
	wideLow, wideHigh = 600, 1_300
	// ‰ of the target: beyond 150 % nobody pulls unnoticed.
	wildHigh = 1_500
	// ‰ of the torque that a fastener stands at: where a hand that feels no turn goes on, it gives way below this. Of the rise
	// of a turn: one that rises by less may be of a bolt that yields.
	giveWay = 1_120
	// ‰ of the torque that is pulled to: a fastener that stands there hardly moves on the way. Two pulls to one target differ
	// by less, for the gap is four times opScatter.
	stuckFrom = 900
	// ‰: a residual torque about what it commonly is, residualOver more than its fastener was tightened to: one that rests is
	// harder to move than one that slides. There is no published ratio; the trial's worlds of verification have 1 … 6 %.
	residual, residualOver = 70, 35
	// ‰ of the torque that it stands at: more takes no fastener to break loose, for the slope of the thread helps.
	breakMost = 1_200
	// One part in so many of the highest torque of the joint: with less a fastener turns back that was loose already.
	looseFrom = 20
	// ‰: how exactly a wrench shows the same torque again. ISO 6789-1 grants it 40 in all.
	sameTorque = 10
)

// Angle.
const (
	// m°: hand and joint, beside the wrench's grain.
	angleNoise = 900
	// m°: a grain is never taken for more. After one reading it looks as large as that whole angle.
	maxGrain = 5_000
	// m°: how exactly a hand stops at an angle. Twice that is the ±5° that a procedure commonly grants.
	turnNoise = 2_500
	// m°: how exactly it stops when it loosens by an angle, which matters less: procedures grant ±15° there.
	loosenNoise = 12_000
	// m°: a stray angle is anything up to half a turn.
	maxAngle = 180_000
	// m°: a smaller angle is taken for this where it stands under a logarithm or divides; wrenches count about as coarsely.
	leastAngle = 1_000
	// ‰: a wind-up about that of the pulls before that moved nothing. Fasteners of all kinds teach it together, so it is held
	// as unsure as another kind's turn.
	windSpread = otherKind
)

// lnDecades is the width of what the first pull of a joint may turn, in logarithms: its most is 144 times its least, as in
// 1.25° … 180°, for nothing is known of the joint yet. As its own logarithm, µnat.
var lnDecades = ln(4_970_000) - lnCertain // ln(ln(144))

// Friction.
const (
	// ‰: friction under the head and in the thread, from bolt to bolt of one box. The trial's ordinary world has 5 … 12 %.
	frictionScatter = 100
	// Pulls that frictionScatter weighs as: a joint of which more were seen is held to its own scatter rather.
	priorSamples = 4
	// ‰: what is off by three times frictionScatter has odd friction, and is taken for no more where the usual is measured.
	oddFrom = 300
	// ‰ of the turn of the others: between these lies that of a fastener with odd friction. In the trial's ordinary world it is
	// off by a factor of two at most, and scatters about that.
	oddLow, oddHigh = 400, 2_500
	// The square of how much more the tails of friction scatter: 2.45 times.
	tail2 = 6
	// The same beside what the fastener did itself before: twice. Its own friction is known, which leaves fewer surprises.
	ownTail2 = 4
	// ‰: the friction of one fastener from pull to pull, before any was seen. The trial's ordinary world has 3 … 8 %.
	ownScatter = 80
	// Pulls that ownScatter weighs as: a joint of which more were seen is held to its own.
	ownSamples = 6
	// Times what friction wanders by: what is further off, 3 pulls in a thousand by a normal density, is a slip or odd, and is
	// taken for no more where the usual is measured.
	wanderMost = 3
	// ‰ of a pull: so much do the others weigh beside a fastener's own pulls. Friction scatters more between them: by the
	// squares that is right for 80 ‰ beside 122 ‰.
	ownDrawn = 430
	// Times what friction wanders by, beside frictionScatter: a fastener that is off by as much is drawn half as hard to the
	// others, for one that is far off is odd, and stays so.
	ownOff = 2
	// Fasteners of a kind that must have been seen to call one of them odd: of three the median is right though one be odd.
	knownFrom = 3
)

// lnOdd is the width of oddLow … oddHigh in logarithms, as its own logarithm, µnat.
var lnOdd = ln(1_830_000) - lnCertain // ln(ln(2.5/0.4))

// Forecast: how far the turn per torque, or the rise per angle, is off what something else foretells.
const (
	// ‰: foretold by an earlier build. Twice frictionScatter: its bolts were of another box, its wrench may have been another.
	earlierBuild = 200
	// ‰: one kind of fastener by another, which differs in size or in its stage.
	otherKind = 250
	// ‰: a pull from slack by one from a seated torque, or the other way: wrenches count from a threshold that nobody tells.
	otherStart = 400
	// ‰: by thread, length and lubrication alone, which are right within a factor of two (bolt.Thread.TurnRate).
	geometry = 500
	// µ° per N·m before anything is known: a mid-sized engine bolt turns about 0.8° per N·m.
	priorRate = 800_000
	// ‰ of the rise of a fastener's turn: its second turn, as long as it does not yield.
	againScatter = 200
	// ‰ of what friction wanders by: a second turn beside the first alone. Two pulls differ by the root of two, rounded up.
	ownAgain = 1_500
	// Times what friction wanders by, squared: a fastener of whose kind no other is known yet, so that another stage foretells.
	otherStage = 4
	// Pulls of the fastener itself, and of the others: of more the mean is as good as known, for a pull about it scatters by
	// 12 % and 6 % more at these than about a mean of any number.
	maxOwn, maxOthers = 4, 8
	// One part in so many of a torque: a rise of less tells no rate, for what the wrench is off weighs fivefold in it.
	riseFrom = 5
	// ‰ of the usual rise of its kind: in a shorter one the wind-up is a greater part than in those that taught the turn per
	// torque, so that it is added, and the forecast is as unsure as from another start.
	shortRise = 600
	// ‰ of the rise of an elastic bolt: a turn that ends higher is out of all reason, like a torque beyond wildHigh.
	riseMost = 1_500
	// ‰ of the rise in the turn before: a kind that rises by less than that yields.
	yieldsBelow = 700
)
