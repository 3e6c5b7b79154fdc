package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/store"
)

type retentionCommand struct {
	records
	Config string `required:"" help:"Configuration of the daemon: its retention, and where the records are." type:"existingfile" placeholder:"FILE"`
}

// Help is shown below the flags.
func (retentionCommand) Help() string {
	return `Names a person here when every build that he or she worked on belongs to a customer of the configuration's retention, and all
of those years are over. Nothing goes by itself: witnessmark person forget blanks a name, and an entry says so.`
}

// Run lists the people whose names need not be kept any more.
func (c *retentionCommand) Run(ctx context.Context, s shop, all *commands) (err error) {
	cfg, err := c.configured(c.Config, &s, all)
	if err != nil {
		return err
	}
	reader, closeAll, err := c.open(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeAll()) }()
	worked, err := reader.Worked(ctx)
	if err != nil {
		return err
	}
	list := due(worked, cfg.Retention, time.Now())
	for _, w := range list {
		fmt.Fprintf(s.out, "%s worked last on %s: witnessmark person forget %s --reason \"retention is over\"\n", w.Name, w.Last.UTC().Format(time.DateOnly), w.Person)
	}
	_, err = fmt.Fprintf(s.out, "%d names are due to be blanked\n", len(list))
	return err
}

// due are the people all of whose builds are past the retention of their customers, each with the last day of work.
func due(worked []store.Worked, rules []config.Retention, now time.Time) []store.Worked {
	var out []store.Worked
	for i := 0; i < len(worked); {
		last, over := worked[i], true
		for ; i < len(worked) && worked[i].Person == last.Person; i++ {
			over = over && overdue(worked[i], rules, now)
			if worked[i].Last.After(last.Last) {
				last.Last = worked[i].Last
			}
		}
		if over {
			out = append(out, last)
		}
	}
	return out
}

// overdue tells whether a build need not name its people any more. Where several rules cover it the first one counts; where none
// does it is kept.
func overdue(w store.Worked, rules []config.Retention, now time.Time) bool {
	i := slices.IndexFunc(rules, func(r config.Retention) bool { return r.Covers(w.Unit, w.WorkOrder) })
	return i >= 0 && w.Last.AddDate(rules[i].Years, 0, 0).Before(now)
}
