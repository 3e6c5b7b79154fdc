package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"witnessmark/audit/recall"
	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/witnessmark/internal/control"
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
	span := recall.Span{From: from, To: to}
	out, err := affected.Look(ctx, reader, affected.Question{Wrench: c.Wrench, Span: span, Found: found})
	var unknown *affected.Unknown
	if errors.As(err, &unknown) {
		return inputError{err}
	}
	if err != nil {
		return err
	}
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
