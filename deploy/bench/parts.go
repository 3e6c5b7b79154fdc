package main

import (
	"context"
	"fmt"
	"time"
)

// small is how many benches a shop has, for everything that is no question of speed.
const small = 20

// empty measures how a shop starts, rests and works whose record is empty.
func empty(ctx context.Context, s *shop, t *table) error {
	t.head(fmt.Sprintf("AN EMPTY RECORD, %d benches", small))
	if err := s.start(ctx, small); err != nil {
		return err
	}
	t.add("very first start, which makes the database: to the first possible commit", ms(s.writing), "", "", "")
	return s.rest(ctx, t)
}

// rest starts the daemon again and lets it be, then has it work as a shop does.
func (s *shop) rest(ctx context.Context, t *table) error {
	if err := s.start(ctx, small); err != nil {
		return err
	}
	t.add("start: until readings are taken; until they are written", ms(s.started)+"; "+ms(s.writing), "", "", "")
	before, err := s.used()
	if err != nil {
		return err
	}
	long := s.opt.long(20 * time.Second)
	time.Sleep(long)
	after, err := s.used()
	if err != nil {
		return err
	}
	u := after.since(before)
	share := func(d time.Duration) float64 { return 100 * d.Seconds() / long.Seconds() }
	t.add("processor while nothing happens, of one; PostgreSQL", fmt.Sprintf("%.2f %%; %.2f %%", share(u.program), share(u.database)), "", "",
		met("below 1 %", share(u.program) < 1))
	return s.memory(t, "memory while nothing happens")
}

// memory puts into the table what the program holds resident.
func (s *shop) memory(t *table, what string) error {
	held, err := resident(s.cmd.Process.Pid)
	if err != nil {
		return err
	}
	t.add(what, mega(held), "", "", met("below 60 MB", held < 60e6))
	return nil
}

// waiting is how long a reading takes at some rates.
func waiting(ctx context.Context, s *shop, t *table) error {
	t.head("FROM THE LAST BYTE OF A FRAME, p50 and p99")
	if s.running == 0 {
		if err := s.start(ctx, small); err != nil {
			return err
		}
	}
	if err := s.pace(ctx, t, small, 20, s.opt.long(60*time.Second)); err != nil {
		return err
	}
	if err := s.start(ctx, 64); err != nil {
		return err
	}
	for _, a := range []int{500, 5000} {
		if err := s.pace(ctx, t, 64, a, s.opt.long(20*time.Second)); err != nil {
			return err
		}
	}
	return nil
}

// pace measures at one rate, with n wrenches.
func (s *shop) pace(ctx context.Context, t *table, n, perSecond int, long time.Duration) error {
	pause := time.Second / time.Duration(perSecond)
	if perSecond > 50 { // the program answers several at once then
		pause = 0
	}
	l, err := s.limits(ctx, pause)
	if err != nil {
		return err
	}
	quick, err := s.limits(ctx, 0)
	if err != nil {
		return err
	}
	w, err := s.work(ctx, n, paced(time.Duration(n)*time.Second/time.Duration(perSecond), long))
	if err != nil {
		return err
	}
	journaled, committed := newHistogram("journal_latency_seconds", w.before, w.after), newHistogram("commit_latency_seconds", w.before, w.after)
	both := l.both()
	at := fmt.Sprintf("%d/s asked, %s came: ", perSecond, rate(per(w.readings, w.took)))
	aim := ""
	if perSecond == 20 {
		aim = met("p50 within 1.5×", float64(committed.at(0.5)) <= 1.5*float64(both.p50))
	}
	as := ""
	if pause > 0 {
		as = " at that pace"
		t.add(at+"the same, one after the other without a pause", "", "one sync + one commit: "+ms(quick.both().p50)+", "+ms(quick.both().p99), "", "")
	}
	t.spread(at+"on the disk", journaled, "one sync"+as, l.sync, "")
	t.spread(at+"in PostgreSQL", committed, "one sync + one commit"+as, both, aim)
	t.add(at+"processor for 1000 readings; PostgreSQL", s.thousand(w), "", "", "")
	return nil
}

func (t *table) spread(what string, h histogram, limit string, l spread, aim string) {
	p50, p99 := h.at(0.5), h.at(0.99)
	t.add(what, ms(p50)+", "+ms(p99), limit+": "+ms(l.p50)+", "+ms(l.p99), times(float64(p50), float64(l.p50))+", "+times(float64(p99), float64(l.p99)), aim)
}

// thousand is the processor time for a thousand readings.
func (s *shop) thousand(w worked) string {
	each := func(d time.Duration) string { return ms(d * 1000 / time.Duration(max(w.readings, 1))) }
	return each(w.used.program) + "; " + each(w.used.database)
}

// carrying is how many readings a second go through with some numbers of wrenches, each as fast as its port takes them.
func carrying(ctx context.Context, s *shop, t *table) error {
	t.head("READINGS A SECOND, matched, judged and in PostgreSQL")
	if err := s.start(ctx, 64); err != nil {
		return err
	}
	for _, n := range []int{1, 8, 64, 256} {
		if n > s.running {
			if err := s.start(ctx, n); err != nil {
				return err
			}
		}
		if err := s.carry(ctx, t, n); err != nil {
			return err
		}
	}
	return s.memory(t, fmt.Sprintf("memory after that, %d benches", crowd))
}

func (s *shop) carry(ctx context.Context, t *table, n int) error {
	w, err := s.work(ctx, n, flatOut(s.opt.long(15*time.Second)))
	if err != nil {
		return err
	}
	took, err := s.copied(ctx, w.from, w.to)
	if err != nil {
		return err
	}
	ours, limit := per(w.readings, w.took), per(w.readings, took)
	aim := ""
	if n == 64 {
		s.at64 = ours
		aim = met("half of COPY", ours >= limit/2)
	}
	what := fmt.Sprintf("%d wrenches", n)
	t.add(what, rate(ours), "COPY of the same rows, one commit: "+rate(limit), times(ours, limit), aim)
	t.add(what+": processor for 1000 readings; PostgreSQL", s.thousand(w), "", "", "")
	return nil
}

// peers are other programs that take the same lines from one port.
func peers(ctx context.Context, s *shop, t *table) error {
	t.head("OTHER PROGRAMS, lines a second from one port into one table; beside them 64 wrenches of ours")
	for _, p := range s.peers() {
		if p.python && s.opt.python == "" {
			t.add(p.name, "not measured: python3-serial or python3-psycopg2 is missing", "", "", "")
			continue
		}
		theirs, err := s.play(ctx, p)
		if err != nil {
			return err
		}
		aim := ""
		if p.aim {
			aim = met("five times", s.at64 >= 5*theirs)
		}
		t.add(p.name, rate(theirs), "ours: "+rate(s.at64), times(s.at64, theirs), aim)
	}
	return nil
}

// A day at a bench is 20 joints, that is a reading every 36 seconds around the clock.
const dayJoints = 20

// day plays the day of a shop as fast as it goes.
func day(ctx context.Context, s *shop, t *table) error {
	joints, name := dayJoints, "24 hours"
	if s.opt.quick {
		joints, name = 1, "72 minutes"
	}
	t.head(fmt.Sprintf("%s OF A SHOP of %d benches, compressed: a reading every 36 s at each", name, small))
	if err := s.start(ctx, small); err != nil {
		return err
	}
	before, err := s.disk(ctx)
	if err != nil {
		return err
	}
	w, err := s.work(ctx, small, func(ctx context.Context, b *bench) error {
		for range joints {
			if err := b.whole(ctx); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	after, err := s.disk(ctx)
	if err != nil {
		return err
	}
	real := 24 * time.Hour * time.Duration(joints) / dayJoints
	t.add(fmt.Sprintf("%d readings", w.readings), w.took.Round(time.Millisecond).String(), real.String(), times(real.Seconds(), w.took.Seconds())+" faster", "")
	t.add("processor for it; PostgreSQL", w.used.program.String()+"; "+w.used.database.String(), "",
		fmt.Sprintf("%.3f %%; %.3f %% of one in that time", 100*w.used.program.Seconds()/real.Seconds(), 100*w.used.database.Seconds()/real.Seconds()), "")
	t.add("journal, bytes from the wrenches, database grow by", mega(after.journal-before.journal)+", "+mega(after.evidence-before.evidence)+", "+mega(after.database-before.database), "", "", "")
	released, of, err := s.release(ctx)
	if err != nil {
		return err
	}
	return s.memory(t, fmt.Sprintf("memory after it, %d of %d builds released since the beginning", released, of))
}

// disk is what the parts of the record take.
type disk struct{ journal, evidence, database, shelf int64 }

func (s *shop) disk(ctx context.Context) (d disk, err error) {
	if d.journal, err = size(s.data("journal.db")); err != nil {
		return d, err
	}
	if d.evidence, err = size(s.data("evidence")); err != nil {
		return d, err
	}
	if d.shelf, err = size(s.data("shelf")); err != nil {
		return d, err
	}
	conn, err := s.connect(ctx)
	if err != nil {
		return d, err
	}
	defer conn.Close(ctx)
	err = conn.QueryRow(ctx, `SELECT sum(pg_total_relation_size(c.oid))::bigint FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = 'witnessmark' AND c.relkind = 'r'`).Scan(&d.database)
	return d, err
}

// filled brings the record to a size and measures again what an empty one was measured for.
func filled(ctx context.Context, s *shop, t *table) error {
	if err := s.start(ctx, 64); err != nil {
		return err
	}
	if err := s.goOn(ctx); err != nil {
		return err
	}
	if err := grow(ctx, s, t); err != nil {
		return err
	}
	t.head(fmt.Sprintf("A RECORD OF %d READINGS, %d benches; a longer one was not measured", s.sent(), small))
	if err := s.rest(ctx, t); err != nil {
		return err
	}
	if err := s.pace(ctx, t, small, 20, s.opt.long(30*time.Second)); err != nil {
		return err
	}
	if err := s.start(ctx, 64); err != nil {
		return err
	}
	return s.carry(ctx, t, 64)
}
