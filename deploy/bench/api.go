package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// api asks the daemon over its control socket, as the commands do.
type api struct{ http.Client }

func newAPI(socket string) *api {
	return &api{http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: crowd, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "unix", socket)
	}}}}
}

// forget lets go of the connections to a daemon that has ended.
func (a *api) forget() { a.CloseIdleConnections() }

// refusal is the daemon's word that something cannot be done.
type refusal string

func (r refusal) Error() string { return string(r) }

// status is what is needed of the daemon's.
type status struct {
	Entries, Position uint64
	Database, Listen  string
}

func (a *api) post(ctx context.Context, path string, in, out any) error {
	return a.ask(ctx, http.MethodPost, path, in, out)
}

func (a *api) ask(ctx context.Context, method, path string, in, out any) error {
	body, err := json.Marshal(in)
	if err != nil {
		return err
	}
	q, err := http.NewRequestWithContext(ctx, method, "http://shop"+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	r, err := a.Do(q)
	if err != nil {
		return err
	}
	defer r.Body.Close()
	if r.StatusCode >= 300 {
		text, _ := io.ReadAll(r.Body)
		return refusal(fmt.Sprintf("%s %s: %s", method, path, bytes.TrimSpace(text)))
	}
	if out == nil {
		_, err := io.Copy(io.Discard, r.Body) // so that the connection is used again
		return err
	}
	return json.NewDecoder(r.Body).Decode(out)
}

// patience is how long something may take that must come.
const patience = 5 * time.Minute

// until asks for the status until it is good.
func (a *api) until(ctx context.Context, good func(status) bool) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for {
		var st status
		err := a.ask(ctx, http.MethodGet, "/api/v1/status", nil, &st)
		if err == nil && good(st) {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the daemon did not get there in %v: %+v: %w", patience, st, err)
		case <-time.After(2 * time.Millisecond):
		}
	}
}

// figures are the daemon's at /metrics, by name and labels as they are written there.
func (a *api) figures(ctx context.Context) (map[string]float64, error) {
	var st status
	if err := a.ask(ctx, http.MethodGet, "/api/v1/status", nil, &st); err != nil {
		return nil, err
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+st.Listen+"/metrics", nil)
	if err != nil {
		return nil, err
	}
	r, err := http.DefaultClient.Do(q)
	if err != nil {
		return nil, err
	}
	defer r.Body.Close()
	all := map[string]float64{}
	lines := bufio.NewScanner(r.Body)
	for lines.Scan() {
		name, text, _ := strings.Cut(lines.Text(), " ")
		if v, err := strconv.ParseFloat(text, 64); err == nil { // a comment is no number
			all[name] = v
		}
	}
	return all, lines.Err()
}
