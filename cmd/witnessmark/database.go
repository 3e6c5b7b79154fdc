package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/store"
	"witnessmark/store/cluster"
)

// records is the flags of a command that reads the database.
type records struct {
	Database string `help:"URL of the database, where it is not the private one in the data folder." placeholder:"URL" env:"WITNESSMARK_DATABASE"`
	Shop     string `help:"Shop, where the database holds several." placeholder:"ID"`
}

// configured takes from a configuration of the daemon, where one is named, what no flag says: the data folder, the database and the
// shop in it.
func (r *records) configured(file string, s *shop, all *commands) (cfg config.Config, err error) {
	if file == "" {
		return cfg, nil
	}
	if cfg, err = s.configured(file, all); err != nil {
		return cfg, err
	}
	if r.Database == "" && cfg.Database != config.Private {
		r.Database = cfg.Database
	}
	if r.Shop == "" {
		r.Shop = cfg.Shop.ID
	}
	return cfg, nil
}

// open connects for reading: to the database named, else to the private one in the data folder, which is started for
// the moment where no daemon runs it. close must be called.
func (r records) open(ctx context.Context, s shop) (_ *store.Reader, close func() error, err error) {
	url, stop := r.Database, func() error { return nil }
	if url == "" {
		c, err := s.private(ctx)
		if err != nil {
			return nil, nil, err
		}
		url, stop = c.ConnString(), func() error { return c.Stop(context.WithoutCancel(ctx)) }
	}
	reader, err := store.OpenReader(ctx, url, r.Shop)
	if err != nil {
		return nil, nil, errors.Join(err, stop())
	}
	return reader, func() error { return errors.Join(reader.Close(), stop()) }, nil
}

// private attaches to the private database in the data folder, or starts it for the moment where no daemon runs it.
func (s shop) private(ctx context.Context) (*cluster.Cluster, error) {
	if err := s.open(); err != nil {
		return nil, err
	}
	dir := s.folder().Postgres()
	if _, err := os.Stat(dir); err != nil {
		return nil, inputError{fmt.Errorf("no private database in %s: name the data folder with --data, or the database with --database", dir)}
	}
	c, err := cluster.Attach(ctx, dir)
	if err != nil { // nobody runs it
		if c, err = cluster.Start(ctx, dir); err != nil {
			return nil, fmt.Errorf("start the private database for a moment: %w", err)
		}
	}
	return c, nil
}
