package audit

// BenchEvent is an event that happened at a bench: every kind with a Bench.
type BenchEvent interface {
	Event
	// AtBench is the bench.
	AtBench() string
}

// BuildEvent is an event that names the build it is about: every kind with a Build.
type BuildEvent interface {
	Event
	// OfBuild is the build.
	OfBuild() uint64
}

// AtBench implements BenchEvent.
func (e JointStarted) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e JointClosed) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e CheckAnswered) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e FastenerNamed) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e BoltReplaced) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e HandedOver) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e LabelScanned) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e AdapterFitted) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e ReadingTaken) AtBench() string { return e.Bench }

// AtBench implements BenchEvent.
func (e FrameRefused) AtBench() string { return e.Bench }

// OfBuild implements BuildEvent.
func (e JointStarted) OfBuild() uint64 { return e.Build }

// OfBuild implements BuildEvent.
func (e ConcessionGranted) OfBuild() uint64 { return e.Build }

// OfBuild implements BuildEvent.
func (e CorrectionMade) OfBuild() uint64 { return e.Build }

// OfBuild implements BuildEvent.
func (e BuildReleased) OfBuild() uint64 { return e.Build }

// OfBuild implements BuildEvent.
func (e BuildReopened) OfBuild() uint64 { return e.Build }
