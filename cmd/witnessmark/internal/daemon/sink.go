package daemon

import (
	"context"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/link"
)

// sink is where the link of one wrench brings what came.
type sink struct {
	d      *Daemon
	wrench string
	bench  string
	over   <-chan struct{} // closed when the link is to end: what it says then is no news
	log    zerolog.Logger
	newest uint64 // entry of the newest reading; of the link's handler
}

// notice takes what a link says about its wrench: whenever that changes, and whenever bytes came.
func (s *sink) notice(now link.State) {
	var before link.State
	s.d.links.set(s.wrench, func(h *health) { before, h.State = h.State, now })
	s.d.metrics.resent.WithLabelValues(s.wrench).Add(float64(now.Resent - before.Resent))
	switch news := now.Phase != before.Phase || now.Reason != before.Reason; {
	case !news, s.ended():
	case now.Phase == link.Fresh:
		s.log.Info().Str("found_by", now.Where).Msg("wrench is there")
	case now.Up:
		s.log.Warn().Str("state", string(now.Phase)).Str("reason", now.Reason).Msg("wrench is silent")
	default:
		s.log.Warn().Str("reason", now.Reason).Msg("wrench is not there")
	}
}

func (s *sink) ended() bool {
	select {
	case <-s.over:
		return true
	default:
		return false
	}
}

// Reading returns when the reading is on disk. Only then may the wrench forget it.
func (s *sink) Reading(ctx context.Context, r device.Reading, came time.Time) (entry uint64, err error) {
	e, err := s.keep(ctx, audit.ReadingTaken{Bench: s.bench, Reading: r})
	if err != nil {
		return 0, err
	}
	s.newest = e.Seq
	s.d.metrics.latency.kept(e.Seq, came)
	s.count(r)
	return e.Seq, nil
}

// verdictWithin is how long a wrench waits for the verdict on its reading: the people's follower is a moment behind at
// most, and a lamp that comes later would be taken for the next pull's.
const verdictWithin = time.Second

// Verdict waits until the reading that was kept last is judged.
func (s *sink) Verdict(ctx context.Context, _ device.Reading) (pass, known bool) {
	ctx, cancel := context.WithTimeout(ctx, verdictWithin)
	defer cancel()
	if err := s.d.live.await(ctx, s.d.life, s.newest); err != nil {
		return false, false
	}
	v, known := s.d.live.verdict(s.wrench, s.newest)
	return v == audit.Pass, known
}

// shown is a reading as a person reads it.
func shown(r device.Reading) string {
	if r.Angle == nil {
		return r.Torque.String()
	}
	return r.Torque.String() + ", " + r.Angle.String()
}

// count books a reading, and says what the wrench's counter tells: that it began anew, or that readings never came.
func (s *sink) count(r device.Reading) {
	anew := false
	s.d.links.set(s.wrench, func(h *health) {
		anew, h.epoch = r.Epoch > h.epoch, r.Epoch
		h.skipped += r.Skipped
		h.readings++
		h.last = shown(r)
	})
	if anew {
		s.d.metrics.epochs.WithLabelValues(s.wrench).Inc()
		s.log.Warn().Int64("epoch", r.Epoch).Msg("the wrench's counter began anew")
	}
	if r.Skipped > 0 {
		s.d.metrics.skipped.WithLabelValues(s.wrench).Add(float64(r.Skipped))
		s.log.Warn().Int64("skipped", r.Skipped).Msg("readings that the wrench counted never came")
	}
}

// Refusal returns when the refused frame is on disk.
func (s *sink) Refusal(ctx context.Context, r device.Refusal) error {
	s.log.Warn().Str("reason", r.Reason).Str("detail", r.Detail).Int64("more", r.More).Msg("frame refused")
	s.d.links.set(s.wrench, func(h *health) { h.refused[r.Reason] += 1 + r.More })
	_, err := s.keep(ctx, audit.FrameRefused{Bench: s.bench, Refusal: r})
	return err
}
