package claim

import (
	"context"
	"fmt"
	"slices"

	"witnessmark/audit/recall"
	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/store"
)

// doubts tells the builds of an engine, the last ones added, of the wrenches that a calibration found bad, then or later.
func (c *Claim) doubts(ctx context.Context, reader *store.Reader, e *sheet.Engine) error {
	found := badWrenches{}
	builds := c.Builds[len(c.Builds)-len(e.Builds):]
	for i := range e.Builds {
		for k := range e.Builds[i].Joints {
			for _, m := range marks(&e.Builds[i].Joints[k]) {
				bad, err := found.of(ctx, reader, m.Wrench)
				if err != nil {
					return err
				}
				if bad.certificate != "" && bad.span.Holds(m.At) {
					builds[i].Joints[k].look(bad.sentence(m.Wrench))
				}
			}
		}
	}
	return nil
}

// badWrenches remembers what was asked for.
type badWrenches map[string]badWrench

func (b badWrenches) of(ctx context.Context, reader *store.Reader, wrench string) (badWrench, error) {
	if bad, known := b[wrench]; known {
		return bad, nil
	}
	span, certificate, err := affected.FoundBad(ctx, reader, wrench)
	b[wrench] = badWrench{span, certificate}
	return b[wrench], err
}

// badWrench is when a wrench is in doubt, and by which certificate; none: no calibration found it bad.
type badWrench struct {
	span        recall.Span
	certificate string
}

func (b badWrench) sentence(wrench string) string {
	return fmt.Sprintf("wrench %s is in doubt, found bad by certificate %s: witnessmark wrench affected %s tells which verdicts would turn",
		wrench, b.certificate, wrench)
}

func (j *Joint) look(finding string) {
	if !slices.Contains(j.Findings, finding) {
		j.Findings = append(slices.Clip(j.Findings), finding)
	}
}

// marks are those in force, of bolts that were replaced too.
func marks(j *sheet.Joint) []sheet.Mark {
	out := slices.Clone(j.Stray)
	for _, s := range j.Steps {
		out = append(append(out, s.Replaced...), s.Marks...)
	}
	return out
}
