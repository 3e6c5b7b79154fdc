package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"time"
)

// fillRate is more readings a second than come while the record grows: after each round all benches are empty, and with few
// rounds there are few such moments.
const fillRate = 10_000

// marks are the sizes at which a record that grows to so many readings is looked at.
func marks(readings int) (out []int) {
	for one := 100_000; one <= readings; one *= 10 {
		for _, m := range []int{one, 2 * one, 5 * one} {
			if m < readings {
				out = append(out, m)
			}
		}
	}
	return append(out, readings)
}

// grow brings the record to a size, with 64 wrenches, and measures on the way what changes with it.
func grow(ctx context.Context, s *shop, t *table) error {
	t.head("A RECORD THAT GROWS, 64 wrenches: readings a second, processor of the program and of PostgreSQL for 1000 of them; then a new start")
	for _, size := range marks(s.opt.readings) {
		if size < min(s.sent(), s.opt.readings) { // it has outgrown this one
			continue
		}
		w, err := s.fill(ctx, size)
		if err != nil {
			return err
		}
		if err := s.start(ctx, 64); err != nil {
			return err
		}
		if err := s.grown(ctx, t, w); err != nil {
			return err
		}
	}
	return nil
}

// goOn takes over a record that an earlier run has left, with whatever lies on its benches.
func (s *shop) goOn(ctx context.Context) error {
	if s.opt.record == "" {
		return nil
	}
	conn, err := s.connect(ctx)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	if err := conn.QueryRow(ctx, "SELECT count(*) FROM witnessmark.reading").Scan(&s.had); err != nil {
		return err
	}
	for _, b := range s.benches[:s.running] {
		var empty refusal
		if err := s.api.ask(ctx, http.MethodDelete, b.path(), map[string]any{"person": b.person()}, nil); err != nil && !errors.As(err, &empty) {
			return err
		}
	}
	return nil
}

// fill goes on until the record has so many readings, and releases what is done.
func (s *shop) fill(ctx context.Context, readings int) (all worked, err error) {
	for s.sent() < readings {
		long := time.Duration(readings-s.sent()) * time.Second / fillRate
		w, err := s.work(ctx, 64, flatOut(max(time.Second, min(long, time.Minute))))
		if err != nil {
			return all, err
		}
		all = all.and(w)
		if _, _, err := s.release(ctx); err != nil {
			return all, err
		}
		fmt.Fprintf(os.Stderr, "%s  %d of %d readings, %s\n", time.Now().Format(time.TimeOnly), s.sent(), s.opt.readings, rate(per(w.readings, w.took)))
	}
	return all, nil
}

// and adds up what was done and what it took.
func (w worked) and(more worked) worked {
	w.readings += more.readings
	w.took += more.took
	w.used.program += more.used.program
	w.used.database += more.used.database
	return w
}

// grown puts into the table what a daemon that began a moment ago needs for the record as it is.
func (s *shop) grown(ctx context.Context, t *table, w worked) error {
	d, err := s.disk(ctx)
	if err != nil {
		return err
	}
	held, err := resident(s.cmd.Process.Pid)
	if err != nil {
		return err
	}
	speed := "nothing more came"
	if w.readings > 0 {
		speed = rate(per(w.readings, w.took)) + ", " + s.thousand(w)
	}
	t.add(fmt.Sprintf("%d readings: since the row before", s.sent()), speed, "", "", "")
	t.add("start: until readings are taken; until they are written; memory", ms(s.started)+"; "+ms(s.writing)+"; "+mega(held), "", "", "")
	t.add("journal, bytes from the wrenches, database; builds put away", mega(d.journal)+", "+mega(d.evidence)+", "+mega(d.database)+"; "+mega(d.shelf), "", "", "")
	for _, r := range (*t)[len(*t)-3:] {
		fmt.Fprintf(os.Stderr, "  %s: %s\n", r.what, r.figure)
	}
	return nil
}
