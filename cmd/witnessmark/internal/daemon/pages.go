package daemon

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/web"
)

var _ web.Shop = (*Daemon)(nil)

// Look implements web.Shop.
func (d *Daemon) Look(f func(*bench.Shop)) { d.live.look(f) }

// Known implements web.Shop.
func (d *Daemon) Known(ctx context.Context, name string) (string, error) {
	d.acting.Lock()
	defer d.acting.Unlock()
	return d.known(ctx, name)
}

// GiveRoles implements web.Shop.
func (d *Daemon) GiveRoles(ctx context.Context, ev audit.RolesGiven) error {
	_, err := d.act(ctx, "", func(*bench.Shop, string) (audit.Event, error) { return ev, nil })
	return err
}

// EnterLink is a link to a page that signs a person in, once, with every role: for a demonstration.
func (d *Daemon) EnterLink(ctx context.Context, name, page string) (string, error) {
	id, err := d.Known(ctx, name)
	if err != nil {
		return "", err
	}
	var has []audit.Role
	d.live.look(func(s *bench.Shop) { has = s.RolesOf(id) })
	if len(has) == 0 {
		if err := d.GiveRoles(ctx, audit.RolesGiven{Person: id, Roles: audit.AllRoles()}); err != nil {
			return "", err
		}
	}
	return d.pages.EnterLink(d.Addr(), name, page)
}

// openPages makes the site and listens. TLS is demanded wherever somebody else may listen in.
func (d *Daemon) openPages() error {
	c := d.opt.Config
	provider, err := readProvider(c.OIDC)
	if err != nil {
		return err
	}
	d.pages, err = web.New(web.Options{Shop: d, Name: c.Shop.Name, Version: d.opt.Version, Accounts: d.accounts, Folder: d.opt.Data,
		Clock: d.opt.Clock, Log: d.opt.Log, Secure: c.Certificate != "", Provider: provider})
	if err != nil {
		return err
	}
	if err := d.tellSetUp(); err != nil {
		return err
	}
	if c.Certificate == "" && !c.PlainHTTP && !Loopback(c.Listen) {
		return fmt.Errorf("the pages would go unencrypted over the network at %s: give certificate and key under tls in the configuration, or listen on 127.0.0.1", c.Listen)
	}
	if d.public, err = net.Listen("tcp", c.Listen); err != nil {
		return fmt.Errorf("listen on %s: %w", c.Listen, err)
	}
	l := d.public
	if c.Certificate != "" {
		pair, err := tls.LoadX509KeyPair(c.Certificate, c.Key)
		if err != nil {
			return errors.Join(fmt.Errorf("read certificate and key of the pages: %w", err), l.Close())
		}
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12})
	}
	d.serve(l, d.pages.Handler(d.publicPages(d.metrics.registry)))
	return nil
}

// tellSetUp puts the code for the first administrator into the log, as long as there is none.
func (d *Daemon) tellSetUp() error {
	administered := false
	d.live.look(func(s *bench.Shop) { administered = s.Administered() })
	if administered {
		return nil
	}
	code, err := d.pages.SetUpCode()
	if err != nil {
		return err
	}
	d.opt.Log.Warn().Str("code", code).Msg("the pages have no administrator yet: open them and enter this code, which works once")
	return nil
}

// Loopback says that an address, host:port, is reached from this computer only.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// readProvider reads the secret of the shop's provider of sign-ins; nil: it has none.
func readProvider(o config.OIDC) (*web.Provider, error) {
	if o.Issuer == "" {
		return nil, nil
	}
	secret, err := os.ReadFile(o.SecretFile)
	if err != nil {
		return nil, fmt.Errorf("read client_secret_file of oidc in the configuration: %w", err)
	}
	return &web.Provider{Issuer: o.Issuer, ClientID: o.ClientID, Secret: strings.TrimSpace(string(secret)), Claim: o.Claim}, nil
}
