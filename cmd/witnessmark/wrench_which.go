package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/port"
)

type wrenchWhich struct {
	lineFlags
	Ports bool          `help:"Listen at the ports that nobody uses, even if a daemon runs."`
	At    []string      `help:"Listen at this port only; may be repeated." placeholder:"PORT" sep:"none"`
	For   time.Duration `help:"Give up after this time." default:"1m" placeholder:"TIME"`
}

// Help is the long help of the command.
func (wrenchWhich) Help() string {
	return `Start it, then pull the wrench once. The first one that says something is named:
by its id while the daemon runs, else by its port. Nothing is recorded that
would not be recorded anyway.

Exit code: 0 a wrench was heard, 1 none was, 2 bad input.`
}

// Run names the first wrench that is heard.
func (c *wrenchWhich) Run(ctx context.Context, s shop) error { return c.which(ctx, s, "") }

func (c *wrenchWhich) which(ctx context.Context, s shop, root string) error {
	limited, cancel := context.WithTimeout(ctx, c.For)
	defer cancel()
	var heard, quiet string
	var err error
	client := s.client()
	defer client.Close()
	wrenches, none := client.Wrenches(ctx)
	if none != nil && !c.Ports && len(c.At) == 0 {
		fmt.Fprintf(s.log, "%v; listening at the ports instead\n", none)
	}
	if none == nil && !c.Ports && len(c.At) == 0 {
		heard, err = s.hearWrench(limited, client, wrenches)
		quiet = "no wrench said anything" + missing(wrenches)
	} else {
		heard, quiet, err = c.hearPort(limited, s, root)
	}
	switch {
	case heard != "":
		_, err = fmt.Fprintln(s.out, heard)
		return err
	case err != nil && limited.Err() == nil:
		return err
	case ctx.Err() != nil:
		return nil
	}
	fmt.Fprintf(s.out, "%s in %s\n", quiet, c.For)
	return errAttention
}

// missing lists the wrenches that could not have been heard.
func missing(wrenches []control.Wrench) string {
	var gone []string
	for _, w := range wrenches {
		if !w.Up {
			gone = append(gone, fmt.Sprintf("%s (%s)", w.ID, w.Reason))
		}
	}
	if len(gone) == 0 {
		return ""
	}
	return "; not connected: " + strings.Join(gone, ", ") + "; nothing came"
}

// askEvery is how often the daemon is asked how its wrenches fare.
const askEvery = 200 * time.Millisecond

// hearWrench waits until something was recorded of a wrench. That bytes came proves nothing: one that is polled answers
// all the time.
func (s shop) hearWrench(ctx context.Context, client *control.Client, before []control.Wrench) (string, error) {
	fmt.Fprintln(s.log, "pull the wrench now")
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case <-tick.C:
		}
		now, err := client.Wrenches(ctx)
		if err != nil {
			return "", err
		}
		if heard := sent(before, now); heard != "" {
			return heard, nil
		}
	}
}

// sent names a wrench of which a reading came since before, or something that did not become a new one.
func sent(before, now []control.Wrench) string {
	was := map[string]control.Wrench{}
	for _, w := range before {
		was[w.ID] = w
	}
	for _, w := range now {
		if what := news(was[w.ID], w); what != "" {
			return fmt.Sprintf("%s: %s", named(w), what)
		}
	}
	return ""
}

// news says what was recorded of a wrench since before.
func news(before, now control.Wrench) string {
	switch {
	case now.Readings > before.Readings:
		return now.Last
	case now.Resent > before.Resent:
		return "it sent a reading again that is recorded already"
	}
	for reason, n := range now.Refused {
		if n > before.Refused[reason] {
			return "what it sent was refused (" + reason + "); `witnessmark wrench try` shows why"
		}
	}
	return ""
}

// named says which wrench it is, for people.
func named(w control.Wrench) string {
	if w.Title == "" {
		return w.ID + " on bench " + w.Bench
	}
	return fmt.Sprintf("%s (%s) on bench %s", w.ID, w.Title, w.Bench)
}

// hearPort listens at all ports that nobody uses until something comes at one of them. quiet says what to write if
// nothing does.
func (c *wrenchWhich) hearPort(ctx context.Context, s shop, root string) (heard, quiet string, err error) {
	mode, _, err := c.mode()
	if err != nil {
		return "", "", err
	}
	specs, plugs, err := c.places(root)
	if err != nil {
		return "", "", err
	}
	ctx, cancel := context.WithCancel(ctx)
	var ears sync.WaitGroup
	defer ears.Wait()
	defer cancel()
	came := make(chan string)
	var open []string
	for _, at := range specs {
		p, err := port.Open(ctx, at, mode)
		if ctx.Err() != nil && err != nil {
			return "", "no port could be opened", ctx.Err()
		}
		if err != nil {
			fmt.Fprintf(s.log, "not listening at %s: %v\n", at, err)
			continue
		}
		open = append(open, at)
		ears.Go(func() { first(ctx, p, func(b []byte) string { return described(at, plugs, b) }, came) })
	}
	if len(open) == 0 {
		return "", "", errors.New("there is no port to listen at: `witnessmark wrench ports` shows why")
	}
	fmt.Fprintf(s.log, "listening at %s with %s; pull the wrench now\n", strings.Join(open, ", "), settings(mode))
	quiet = fmt.Sprintf("nothing came at %s with %s", strings.Join(open, ", "), settings(mode))
	select {
	case heard = <-came:
		return heard, quiet, nil
	case <-ctx.Done():
		return "", quiet, ctx.Err()
	}
}

func settings(m port.Mode) string {
	return fmt.Sprintf("%d baud, %d bits, parity %s, stop %s", m.Baud, m.DataBits, m.Parity, m.StopBits)
}

// places are the ports to listen at: those named, or all that are plugged in, no console, and used by nobody.
func (c *wrenchWhich) places(root string) (specs []string, plugs []port.Plug, err error) {
	plugs, err = port.Plugs(root)
	if len(c.At) > 0 {
		for _, at := range c.At {
			specs = append(specs, spec(at))
		}
		return specs, plugs, nil
	}
	if err != nil {
		return nil, nil, err
	}
	for _, p := range plugs {
		used := false
		for _, h := range port.Holders(p.Node) {
			used = used || h.PID != os.Getpid()
		}
		if !p.Console && !used {
			specs = append(specs, p.Node)
		}
	}
	return specs, plugs, nil
}

// hush is how long the line is silent when a wrench is through.
const hush = 150 * time.Millisecond

// first reads a port until something has come and a silence after it, or ctx ends.
func first(ctx context.Context, p port.Port, say func([]byte) string, came chan<- string) {
	pieces := make(chan piece)
	l := &listening{began: time.Now()}
	over, cancel := context.WithCancel(ctx)
	defer cancel()
	go l.read(over, p, pieces)
	defer p.Close() // there is nothing more to do with it
	var got bytes.Buffer
	quiet := time.NewTimer(time.Hour)
	defer quiet.Stop()
	for {
		select {
		case next := <-pieces:
			got.Write(next.bytes[:min(len(next.bytes), 4*bytesInRow-min(got.Len(), 4*bytesInRow))])
			if next.lost != nil {
				return
			}
			quiet.Reset(hush)
			continue
		case <-quiet.C:
		case <-ctx.Done():
			return
		}
		select {
		case came <- say(got.Bytes()):
		case <-ctx.Done():
		}
		return
	}
}

// described says where it came, by which names that place is known, and what it was.
func described(at string, plugs []port.Plug, b []byte) string {
	text := at
	if i := port.Leads(at, plugs); i >= 0 {
		p := listedPort{Plug: plugs[i]}
		text = strings.TrimSuffix(p.block(), "\n")
	}
	var out strings.Builder
	v := &byteView{out: &out, pause: time.Hour}
	v.took(0, b)
	v.flush()
	return text + "\n" + strings.TrimSuffix(out.String(), "\n")
}
