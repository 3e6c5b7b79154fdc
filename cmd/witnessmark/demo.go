package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/demo"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/store/cluster"
)

type demoCommand struct {
	Once   bool          `help:"End when the story is told: exit code 0 when all was as expected."`
	Pace   time.Duration `help:"Pause between two pulls." default:"400ms"`
	Listen string        `help:"Address of the public page and the metrics." default:"127.0.0.1:7680" placeholder:"HOST:PORT"`
}

// Help is the long help of the command.
func (demoCommand) Help() string {
	return `A private PostgreSQL in the data folder, an invented shop, and a simulated technician with two simulated wrenches
on pseudo-terminals, who makes the usual mistakes. Started again it goes on from what is there.`
}

// demoFolder is where a demonstration without --data keeps its shop, apart from that of a real one.
const demoFolder = "demo"

// Run plays the demonstration.
func (c *demoCommand) Run(ctx context.Context, s shop, all *commands) (err error) {
	if _, err := cluster.Find(); err != nil {
		return err
	}
	if all.Data == "" {
		s.data = filepath.Join(ownFolder(), demoFolder)
	}
	if ofService(s.data) {
		return inputError{fmt.Errorf("%s is for the records of the installed service, and a demonstration invents some: name another folder with --data", s.data)}
	}
	if err := os.MkdirAll(s.data, 0o700); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	told, err := demo.Told(s.folder().Journal())
	if err != nil {
		return err
	}
	scene, err := demo.NewScene(ctx, s.data, c.listen(), time.Now(), told)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, scene.Close()) }()
	log, err := os.OpenFile(filepath.Join(s.data, "demo.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("open log: %w", err)
	}
	defer log.Close()
	d, err := daemon.New(daemon.Options{Config: scene.Config, Data: s.data, Clock: time.Now, NewID: newID,
		Log: zerolog.New(log).With().Timestamp().Logger(), Version: version()})
	if err != nil {
		return err
	}
	if err := d.Start(ctx); err != nil {
		return err
	}
	defer func() {
		stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
		defer cancel()
		err = errors.Join(err, d.Stop(stopping))
	}()
	return c.play(ctx, s, scene, d)
}

// listen takes a free port where the demonstration is to end by itself: nobody looks at its page.
func (c *demoCommand) listen() string {
	if c.Once {
		return "127.0.0.1:0"
	}
	return c.Listen
}

func (c *demoCommand) play(ctx context.Context, s shop, scene *demo.Scene, d *daemon.Daemon) error {
	client := s.client()
	defer client.Close()
	updates, stop := watchBench(ctx, client, demo.Bench)
	defer stop()
	st := &demo.Stage{Scene: scene, Client: client, Updates: updates, Say: s.say, Show: s.showing(), Pause: c.pause}
	fmt.Fprintf(s.out, "%s\n\nAn invented shop, an invented engine, simulated wrenches. Data folder: %s\n\n", show.Safety, s.data)
	engine, err := st.Prepare(ctx)
	if err != nil {
		return err
	}
	if !c.Once {
		link, err := d.EnterLink(ctx, demo.Technician, "/bench/"+demo.Bench)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.out, "Look on at the bench in a browser; this link signs you in once:\n  %s\n", link)
	}
	played, err := st.Play(ctx)
	if ctx.Err() != nil {
		fmt.Fprintln(s.out, "\nStopped before the end of the story; started again it begins another engine.")
		return nil
	}
	if err != nil {
		return err
	}
	surprises, err := c.tell(ctx, s, client, engine, played)
	if err != nil {
		return err
	}
	for _, line := range surprises {
		fmt.Fprintln(s.out, "NOT AS EXPECTED:", line)
	}
	if c.Once {
		if len(surprises) > 0 {
			return errAttention
		}
		fmt.Fprintln(s.out, "All was as expected.")
		return nil
	}
	return c.stay(ctx, s, d, engine)
}

// tell prints what is on record, checks the ledger, and compares the record with what really happened.
func (c *demoCommand) tell(ctx context.Context, s shop, client *control.Client, engine string, played []demo.Played) ([]string, error) {
	if err := recorded(ctx, client); err != nil {
		return nil, err
	}
	fmt.Fprint(s.out, "\nWhat is on record now\n\n")
	if err := (&historyCommand{Engine: engine}).Run(ctx, s); err != nil {
		return nil, err
	}
	fmt.Fprint(s.out, "\nThe ledger\n\n")
	if err := (&verifyCommand{}).prove(ctx, s, ""); err != nil {
		return nil, err
	}
	return c.compare(ctx, s, engine, played)
}

func (c *demoCommand) compare(ctx context.Context, s shop, engine string, played []demo.Played) (surprises []string, err error) {
	r, done, err := records{}.open(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, done()) }()
	h, err := r.History(ctx, engine)
	if err != nil {
		return nil, err
	}
	e, err := sheet.Of(h, "")
	if err != nil {
		return nil, err
	}
	inForce := map[uint64]audit.Mark{}
	for i := range h.Builds {
		for k := range h.Builds[i].Runs {
			for _, m := range h.Builds[i].Runs[k].InForce() {
				inForce[m.Reading] = m
			}
			if !e.Builds[i].Joints[k].Complete {
				surprises = append(surprises, "the joint is not complete")
			}
		}
	}
	return append(surprises, demo.Surprises(played, inForce)...), nil
}

// recorded waits until everything journaled is in PostgreSQL.
func recorded(ctx context.Context, client *control.Client) error {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		st, err := client.Status(ctx)
		if err != nil {
			return err
		}
		if st.Position >= st.Entries {
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (c *demoCommand) stay(ctx context.Context, s shop, d *daemon.Daemon, engine string) error {
	link, err := d.EnterLink(ctx, demo.Technician, "/claims?q="+url.QueryEscape(engine))
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "\nThe daemon stays up until Ctrl-C. The people of this shop are invented and have no password: only such a link signs in, as\n"+
		demo.Technician+". Where it was used up, start the demonstration again for another one. It serves\n"+
		"  http://%[1]s/            the pages; this link signs you in once, to what is known of the engine:\n  %[4]s\n"+
		"  http://%[1]s/metrics     figures for a dashboard\n"+
		"  http://%[1]s/-/ready     whether readings are taken\n"+
		"and answers in another terminal\n"+
		"  %[5]s --data %[2]s history --engine %[3]s\n"+
		"  %[5]s --data %[2]s wrench status\n"+
		"  %[5]s --data %[2]s verify\n", d.Addr(), s.data, engine, link, started(os.Args[0]))
	select {
	case <-ctx.Done():
	case <-d.Done():
	}
	return nil
}

func (c *demoCommand) pause(ctx context.Context) {
	if c.Once {
		return
	}
	t := time.NewTimer(c.Pace)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

func (s shop) say(words string) { fmt.Fprintf(s.out, "\n>> %s\n", words) }

// showing writes updates as watch does.
func (s shop) showing() func(control.Update) {
	var live show.Live
	return func(u control.Update) {
		fmt.Fprintln(s.out, strings.Join(live.Update(u), "\n"))
	}
}

// watchBench brings the updates of a bench into a channel, which is closed when the watch ends.
func watchBench(ctx context.Context, client *control.Client, bench string) (<-chan control.Update, func()) {
	ctx, cancel := context.WithCancel(ctx)
	updates := make(chan control.Update)
	go func() {
		defer close(updates)
		_ = client.Watch(ctx, bench, func(u control.Update) error { // its end is seen by the closed channel
			select {
			case updates <- u:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	<-updates // the present state: from here on nothing is missed
	return updates, func() {
		cancel()
		for range updates {
		}
	}
}

// started is how this program is started again: as it was, or by `go run`, which leaves no program behind.
func started(program string) string {
	if strings.Contains(filepath.ToSlash(program), "/go-build") {
		return "go run ./cmd/witnessmark"
	}
	return program
}
