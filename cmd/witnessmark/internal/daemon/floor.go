package daemon

import (
	"cmp"
	"maps"
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// floor is what happens at the benches, as figures. Its labels are ids of the configuration.
type floor struct {
	d       *Daemon
	first   *prometheus.CounterVec
	passed  *prometheus.CounterVec
	expired *prometheus.CounterVec
	tried   map[uint64]*pulledAt // by build that is not released; of the live follower alone
	pulls   uint64
}

// pulledAt are the steps of a build that were pulled at.
type pulledAt struct {
	steps  map[spot]bool
	newest uint64 // pull
}

// mostTried is of how many builds the tries are remembered, those that were worked on last. In an older one that is taken up
// again a step counts as pulled at for the first time once more.
const mostTried = 64

// spot is a fastener at a stage of a joint.
type spot struct{ joint, stage, fastener string }

var (
	buildsOpen   = desc("builds_in_work", "Builds that are opened and not released.")
	stepsLeft    = desc("bench_steps_left", "Steps that are still open of the joint on the bench; nothing where there is no joint.", "bench")
	calibrateBy  = desc("wrench_calibration_due_timestamp_seconds", "When the calibration of the wrench ends by date.", "wrench")
	cyclesLeft   = desc("wrench_calibration_readings_left", "Readings until the calibration of the wrench ends by number; below 0 it is over.", "wrench")
	cyclesInAll  = desc("wrench_calibration_readings_allowed", "Readings that a calibration of the wrench lasts.", "wrench")
	floorFigures = []*prometheus.Desc{buildsOpen, stepsLeft, calibrateBy, cyclesLeft, cyclesInAll}
)

func newFloor(d *Daemon, counter func(name, help string, labels ...string) *prometheus.CounterVec) *floor {
	f := &floor{d: d, tried: map[uint64]*pulledAt{},
		first:   counter("first_pulls_total", "Steps that were pulled at for the first time since their build was opened or reopened.", "wrench"),
		passed:  counter("first_pulls_passed_total", "Steps that passed with the first pull since their build was opened or reopened.", "wrench"),
		expired: counter("out_of_calibration_readings_total", "Readings of a wrench that was out of calibration.", "wrench"),
	}
	for _, w := range d.opt.Config.Wrenches {
		for _, c := range []*prometheus.CounterVec{f.first, f.passed, f.expired} {
			c.WithLabelValues(w.Declared.Wrench)
		}
	}
	return f
}

// marked books the first mark of a reading; old ones, from before this start, are remembered and not counted.
func (f *floor) marked(wrench string, m *audit.Mark, old bool) {
	first := m.Fastener != "" && m.CheckID == "" && f.firstPull(m)
	if old {
		return
	}
	if slices.Contains(m.Flags, audit.OutOfCalibration) {
		f.expired.WithLabelValues(wrench).Inc()
	}
	if first {
		f.first.WithLabelValues(wrench).Inc()
		if m.Verdict == audit.Pass {
			f.passed.WithLabelValues(wrench).Inc()
		}
	}
}

// firstPull remembers the step of a mark, and says whether it was new.
func (f *floor) firstPull(m *audit.Mark) bool {
	return f.try(m.Build, spot{m.Joint, m.Stage, m.Fastener})
}

func (f *floor) try(build uint64, at spot) (first bool) {
	t := f.tried[build]
	if t == nil {
		t = &pulledAt{steps: map[spot]bool{}}
		f.tried[build] = t
	}
	f.pulls++
	t.newest = f.pulls
	before := t.steps[at]
	t.steps[at] = true
	f.forget()
	return !before
}

// forget lets go of the build that was worked on longest ago, where there are too many.
func (f *floor) forget() {
	if len(f.tried) <= mostTried {
		return
	}
	var oldest uint64
	for build, t := range f.tried { // no two have the same newest pull, so the order of the map does not show
		if oldest == 0 || t.newest < f.tried[oldest].newest {
			oldest = build
		}
	}
	delete(f.tried, oldest)
}

// triedSteps are all that are remembered.
func (f *floor) triedSteps() (out []triedStep) {
	builds := slices.SortedFunc(maps.Keys(f.tried), func(a, b uint64) int { return cmp.Compare(f.tried[a].newest, f.tried[b].newest) })
	for _, build := range builds { // tried again in this order, they come to the same
		for at := range f.tried[build].steps {
			out = append(out, triedStep{build, at.joint, at.stage, at.fastener})
		}
	}
	return out
}

// released lets go of what is known of a build: its steps are not pulled at any more.
func (f *floor) released(build uint64) { delete(f.tried, build) }

// Describe implements prometheus.Collector.
func (f *floor) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range floorFigures {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (f *floor) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	pulls, left, open := map[string]int64{}, map[string]int{}, 0
	f.d.live.look(func(s *bench.Shop) {
		for _, b := range s.Builds() {
			if b.Standing() != bench.Released {
				open++
			}
		}
		for _, b := range f.d.opt.Config.Benches {
			if s.Run(b.ID) != 0 {
				left[b.ID] = s.View(b.ID).Left
			}
		}
		for _, w := range f.d.opt.Config.Wrenches {
			pulls[w.Declared.Wrench] = s.Pulls(w.Declared.Wrench)
		}
	})
	gauge(buildsOpen, float64(open))
	for id, n := range left {
		gauge(stepsLeft, float64(n), id)
	}
	for _, w := range f.d.opt.Config.Wrenches {
		declared := w.Declared
		if declared.Due != nil {
			gauge(calibrateBy, seconds(*declared.Due), declared.Wrench)
		}
		if declared.Cycles > 0 {
			gauge(cyclesLeft, float64(declared.Cycles-pulls[declared.Wrench]), declared.Wrench)
			gauge(cyclesInAll, float64(declared.Cycles), declared.Wrench)
		}
	}
}
