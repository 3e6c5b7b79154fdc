package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/store"
)

// span is the flags of a stretch of time.
type span struct {
	From string `help:"First day, or instant." placeholder:"DATE"`
	To   string `help:"Last day, or instant." placeholder:"DATE"`
}

// parse gives zero times where a flag was left out.
func (s span) parse() (from, to time.Time, err error) {
	if s.From != "" {
		if from, err = claim.Date(s.From); err != nil {
			return from, to, err
		}
		if day, err := time.Parse(time.DateOnly, s.From); err == nil {
			from = day
		}
	}
	if s.To != "" {
		if to, err = claim.Date(s.To); err != nil {
			return from, to, err
		}
	}
	if !to.IsZero() && to.Before(from) {
		return from, to, errors.New("the span ends before it begins: give --from the earlier day")
	}
	return from, to, nil
}

type affectedCommand struct {
	records
	span
	Lot       string `help:"Lot of bolts, as it was answered to a check." placeholder:"LOT"`
	Procedure string `help:"Procedure revision, or a whole family." placeholder:"FAMILY[/REV]"`
	Bench     string `help:"Bench." placeholder:"BENCH"`
	Format    string `help:"text or json." enum:"text,json" default:"text"`
}

// Help is shown below the flags.
func (affectedCommand) Help() string {
	return `Several flags together narrow the list. For a wrench that was found out of tolerance: witnessmark wrench affected.`
}

// Run lists the joints that something bad has touched.
func (c *affectedCommand) Run(ctx context.Context, s shop) (err error) {
	f, what, err := c.filter()
	if err != nil {
		return inputError{err}
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	list, err := reader.Touched(ctx, f)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		return s.json(affected.Runs(list))
	}
	return affected.RunsText(s.out, what, affected.Runs(list))
}

func (s shop) json(v any) error {
	out := json.NewEncoder(s.out)
	out.SetIndent("", "  ")
	return out.Encode(v)
}

// filter reads the flags, and says in words what is asked for.
func (c *affectedCommand) filter() (f store.Suspect, what string, err error) {
	f = store.Suspect{Lot: c.Lot, Bench: c.Bench}
	f.Family, f.Revision, _ = strings.Cut(c.Procedure, "/")
	if f.From, f.To, err = c.parse(); err != nil {
		return f, "", err
	}
	var words []string
	say := func(flag, text string) {
		if text != "" {
			words = append(words, flag+" "+text)
		}
	}
	say("lot", c.Lot)
	say("procedure", c.Procedure)
	say("bench", c.Bench)
	say("from", c.From)
	say("to", c.To)
	if words == nil {
		return f, "", errors.New("say what is bad: give --lot, --procedure, --bench or a span of time")
	}
	for _, w := range words {
		if strings.ContainsRune(w, 0) {
			return f, "", fmt.Errorf("%.40q holds a zero byte: type it again", w)
		}
	}
	if f.To.IsZero() {
		f.To = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return f, strings.Join(words, ", "), nil
}
