package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// HandOver implements control.Desk. A joint that is theirs already is no error.
func (d *Daemon) HandOver(ctx context.Context, benchID string, in control.HandOver) (bench.View, error) {
	if _, err := d.bench(benchID); err != nil {
		return bench.View{}, err
	}
	to := strings.Join(strings.Fields(in.Person), " ")
	if to == "" {
		return bench.View{}, control.Malformed("say into whose hands the joint goes: give the name of who works from now on")
	}
	d.acting.Lock()
	defer d.acting.Unlock()
	if err := d.handOver(ctx, benchID, to); err != nil {
		return bench.View{}, err
	}
	return d.View(benchID)
}

// handOver is for who holds the lock. A crash before its last entry leaves a person who has done nothing yet.
func (d *Daemon) handOver(ctx context.Context, benchID, name string) error {
	var run uint64
	d.live.look(func(s *bench.Shop) { run = s.Run(benchID) })
	if run == 0 {
		return control.Refuse(fmt.Sprintf("no joint is on bench %s: start one first", benchID))
	}
	id, err := d.known(ctx, name)
	if err != nil {
		return err
	}
	var already bool
	_, err = d.do(ctx, "", func(s *bench.Shop, _ string) (audit.Event, error) {
		ev := audit.HandedOver{Bench: benchID, Run: run, Person: id}
		already = errors.Is(s.Refusal(ev), bench.ErrAlready)
		return ev, nil
	})
	if already {
		return nil
	}
	return err
}

// PutInHands implements web.Shop.
func (d *Daemon) PutInHands(ctx context.Context, benchID, person string) error {
	var hand string
	d.live.look(func(s *bench.Shop) { hand = s.Hand(benchID) })
	if hand == "" || hand == person {
		return nil
	}
	_, err := d.act(ctx, "", func(s *bench.Shop, _ string) (audit.Event, error) {
		return audit.HandedOver{Bench: benchID, Run: s.Run(benchID), Person: person}, nil
	})
	return err
}
