package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"runtime"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/tend"
)

type serveCommand struct {
	Config string `required:"" help:"Configuration file; see witnessmark config example." placeholder:"FILE" type:"existingfile"`
	Listen string `help:"Address of the public page and the metrics, instead of the file's." placeholder:"HOST:PORT"`
}

// elsewhere is what a daemon cannot do where it is not at home.
const elsewhere = "this system is not Linux: wrenches are read over TCP only, none is found by its plug, and nothing ties a private " +
	"database to the life of the daemon: use a database of your own"

// stopWithin bounds how long a stop may take in all.
const stopWithin = 45 * time.Second

// Run works until it is told to stop or cannot go on; then the error says why.
func (c *serveCommand) Run(ctx context.Context, s shop, all *commands) error {
	if all.Data == "" {
		s.data = ownFolder() // never another's by chance: it may be the first start
	}
	o, err := served(c.Config, s, all)
	if err != nil {
		return err
	}
	if c.Listen != "" {
		o.Config.Listen = c.Listen
	}
	log := o.Log
	if runtime.GOOS != "linux" {
		log.Warn().Msg(elsewhere)
	}
	d, err := daemon.New(o)
	if err != nil {
		return err
	}
	if err := d.Start(ctx); err != nil {
		if ctx.Err() != nil && errors.Is(err, context.Canceled) {
			log.Info().Msg("stopped before readings were taken")
			return nil
		}
		return err
	}
	log.Info().Str("shop", o.Config.Shop.ID).Str("data", o.Data).Str("listen", d.Addr()).Msg("readings are taken")
	tending, rest := context.WithCancel(ctx)
	rested := make(chan struct{})
	go func() { defer close(rested); tend.Run(tending, d, log) }()
	select {
	case <-ctx.Done():
		log.Info().Msg("stopping")
	case <-d.Done():
	}
	rest()
	<-rested
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	err = d.Err()
	return errors.Join(err, d.Stop(stopping))
}

// served are the options of the daemon of a configuration.
func served(file string, s shop, all *commands) (daemon.Options, error) {
	cfg, err := s.configured(file, all)
	if err == nil {
		err = s.open()
	}
	if err != nil {
		return daemon.Options{}, err
	}
	return daemon.Options{Config: cfg, Data: s.data, Clock: time.Now, Uptime: daemon.SinceBoot, NewID: newID, Log: logger(s.log), Version: version()}, nil
}

// atRest are the options of a daemon that does not run, for what writes into its folder in its place.
func atRest(file string, s shop, all *commands) (daemon.Options, error) {
	o, err := served(file, s, all)
	if err != nil {
		return o, err
	}
	return o, shop{data: o.Data}.ours()
}

// logger writes JSON lines, or readable ones where a person sits at the other end.
func logger(w io.Writer) zerolog.Logger {
	if terminal(w) {
		w = zerolog.ConsoleWriter{Out: w, TimeFormat: time.TimeOnly}
	}
	return zerolog.New(zerolog.SyncWriter(w)).With().Timestamp().Logger()
}

func newID() string {
	b := make([]byte, 16)
	if _, err := rand.Read(b); err != nil {
		panic(fmt.Sprintf("no randomness: %v", err)) // crypto/rand never returns an error
	}
	return hex.EncodeToString(b)
}
