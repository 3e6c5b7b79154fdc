package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

type wrenchFound struct {
	person
	Wrench      string `arg:"" help:"Wrench."`
	Certificate string `required:"" help:"Number of the certificate." placeholder:"NUMBER"`
	On          string `required:"" help:"Day of the calibration." placeholder:"DATE"`
	Good        bool   `xor:"good" required:"" help:"It was within its tolerance as found."`
	Bad         bool   `xor:"good" required:"" help:"It was not."`
	Adjusted    bool   `help:"It was put right there, and left good."`
	Points      string `help:"Deviations as found, above 0 where it showed too much, such as \"2.5 %@40 N·m, 3 %@200 N·m\"." placeholder:"POINTS"`
}

// Run records how a wrench was found at its calibration.
func (c *wrenchFound) Run(ctx context.Context, s shop) error {
	on, err := time.Parse(time.DateOnly, c.On)
	if err != nil {
		if on, err = claim.Date(c.On); err != nil {
			return inputError{err}
		}
	}
	client := s.client()
	defer client.Close()
	done, err := client.RecordFinding(ctx, control.Finding{Wrench: c.Wrench, Certificate: c.Certificate, Found: on, Points: c.Points,
		Good: c.Good, Adjusted: c.Adjusted, Person: c.By})
	if err != nil {
		return err
	}
	after := ""
	if c.Bad {
		after = fmt.Sprintf("; what it has touched: witnessmark wrench affected %s", c.Wrench)
	}
	_, err = fmt.Fprintf(s.out, "recorded, entry %d%s\n", done.Entry, after)
	return err
}

type wrenchAffected struct {
	records
	span
	Wrench string `arg:"" help:"Wrench."`
	Found  string `help:"Deviations as found, instead of those recorded by wrench found." placeholder:"POINTS"`
	Format string `help:"text or json." enum:"text,json" default:"text"`
}

// Help is shown below the flags.
func (wrenchAffected) Help() string {
	return `Without --from and --to: everything since the last calibration that left the wrench good, up to the next one that did; a
later calibration ends the span only if it was good. Both ends belong to it. Each reading is judged again with the torque
that it was if the wrench was as it was found: linear between the points, beyond them as at the last one.

Exit code 1 says that verdicts would turn.`
}

// Run lists the engines that the wrench has touched while it was in doubt.
func (c *wrenchAffected) Run(ctx context.Context, s shop) (err error) {
	var found recall.AsFound
	if c.Found != "" {
		if found, err = recall.Parse(c.Found); err != nil {
			return inputError{err}
		}
	}
	from, to, err := c.parse()
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	doubt, why, recorded, err := doubtOf(ctx, reader, c.Wrench)
	if err != nil {
		return err
	}
	if c.From != "" || c.To != "" {
		doubt, why = recall.Span{From: from, To: to}, "in the span that was asked for"
	}
	if found == nil {
		found = recorded
	}
	out, err := affected.OfWrench(ctx, reader, c.Wrench, doubt, found)
	if err != nil {
		return err
	}
	out.Why, out.Since, out.Until = why, known(doubt.From), known(doubt.To)
	if c.Format == "json" {
		err = s.json(out)
	} else {
		err = out.Text(s.out)
	}
	if err == nil && out.Turn > 0 {
		err = errAttention
	}
	return err
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// doubtOf is the span in which a wrench is in doubt by what is recorded of its calibrations, in words too, and what was found.
func doubtOf(ctx context.Context, r *store.Reader, wrench string) (s recall.Span, why string, points recall.AsFound, err error) {
	declared, calibrations, err := r.Declared(ctx, wrench)
	if err != nil {
		return s, "", nil, err
	}
	if len(declared) == 0 {
		return s, "", nil, inputError{fmt.Errorf("no wrench %q in this shop: see witnessmark wrench status", wrench)}
	}
	findings, err := r.Found(ctx, wrench)
	if err != nil {
		return s, "", nil, err
	}
	calibrations = withFindings(calibrations, findings)
	s, bad := recall.Doubt(calibrations)
	why = "since " + dayOr(s.From, "ever: no good calibration is recorded") + " until " + dayOr(s.To, "now")
	if bad == nil {
		return wholeDays(s), why + "; no calibration has found it bad", nil, nil
	}
	why += ", found bad by certificate " + bad.Certificate
	for _, f := range findings { // the newest word on a certificate holds
		if f.Certificate == bad.Certificate && f.Points != "" {
			if points, err = recall.Parse(f.Points); err != nil {
				return s, "", nil, err
			}
		}
	}
	return wholeDays(s), why, points, nil
}

// withFindings tells the calibrations how the wrench was found at them, and adds those that are known by that alone.
func withFindings(all []recall.Calibration, findings []audit.CalibrationFound) []recall.Calibration {
	for _, f := range findings {
		i := slices.IndexFunc(all, func(c recall.Calibration) bool { return strings.EqualFold(c.Certificate, f.Certificate) })
		if i < 0 {
			i = len(all)
			all = append(all, recall.Calibration{Certificate: f.Certificate, At: f.Found})
		}
		all[i].FoundBad, all[i].LeftGood = !f.Good, f.LeftGood()
	}
	return all
}

// wholeDays stretches an end that names a day to the end of that day: a certificate does not say the hour.
func wholeDays(s recall.Span) recall.Span {
	if !s.To.IsZero() && s.To.Equal(s.To.Truncate(24*time.Hour)) {
		s.To = s.To.Add(24*time.Hour - time.Microsecond)
	}
	return s
}

func dayOr(t time.Time, otherwise string) string {
	if t.IsZero() {
		return otherwise
	}
	return t.UTC().Format(time.DateOnly)
}
