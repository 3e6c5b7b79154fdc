package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"witnessmark/store"
	"witnessmark/store/cluster"
)

// records is the flags of a command that reads the database.
type records struct {
	Database string `help:"URL of the database, where it is not the private one in the data folder." placeholder:"URL" env:"WITNESSMARK_DATABASE"`
	Shop     string `help:"Shop, where the database holds several." placeholder:"ID"`
}

// open connects for reading: to the database named, else to the private one in the data folder, which is started for
// the moment where no daemon runs it. close must be called.
func (r records) open(ctx context.Context, s shop) (_ *store.Reader, close func() error, err error) {
	url, stop := r.Database, func() error { return nil }
	if url == "" {
		c, err := private(ctx, s.folder().Postgres())
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

// private attaches to the private database of a folder, or starts it for the moment where no daemon runs it.
func private(ctx context.Context, dir string) (*cluster.Cluster, error) {
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
