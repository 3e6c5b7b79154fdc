package control

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"strings"
	"syscall"

	"witnessmark/audit/bench"
)

// maxEvent bounds one line of a watch: a view of the largest joint takes a small part of it.
const maxEvent = 4 << 20

// Client speaks to the daemon behind a socket file or an address. Refusals come back as *Error.
type Client struct {
	base  string // what the paths of the package comment follow
	where string // for people
	token string // empty over a socket
	fault error  // what every call says; nil: it is asked
	http  *http.Client
}

// NewClient makes a client of the socket at path; nothing is opened before the first call.
func NewClient(path string) *Client {
	return &Client{base: "http://daemon", where: path, http: &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) { return dial(ctx, path) },
	}}}
}

// Refusing makes a client whose every call gives an error.
func Refusing(err error) *Client { return &Client{fault: err, http: &http.Client{}} }

// Close lets idle connections go.
func (c *Client) Close() { c.http.CloseIdleConnections() }

// Status asks how far things have got.
func (c *Client) Status(ctx context.Context) (s Status, err error) {
	return s, c.call(ctx, http.MethodGet, "status", nil, &s)
}

// Procedures lists the revisions that the shop has.
func (c *Client) Procedures(ctx context.Context) (p []Procedure, err error) {
	return p, c.call(ctx, http.MethodGet, "procedures", nil, &p)
}

// AddProcedure adds a revision.
func (c *Client) AddProcedure(ctx context.Context, in NewProcedure) (p Procedure, err error) {
	return p, c.call(ctx, http.MethodPost, "procedures", in, &p)
}

// Builds lists all builds.
func (c *Client) Builds(ctx context.Context) (b []Build, err error) {
	return b, c.call(ctx, http.MethodGet, "builds", nil, &b)
}

// OpenBuild opens a build.
func (c *Client) OpenBuild(ctx context.Context, in NewBuild) (b Build, err error) {
	return b, c.call(ctx, http.MethodPost, "builds", in, &b)
}

// Benches lists the configured benches.
func (c *Client) Benches(ctx context.Context) (b []Bench, err error) {
	return b, c.call(ctx, http.MethodGet, "benches", nil, &b)
}

// Wrenches lists the configured wrenches and how they fare.
func (c *Client) Wrenches(ctx context.Context) (w []Wrench, err error) {
	return w, c.call(ctx, http.MethodGet, "wrenches", nil, &w)
}

// Badges lists the badges and who has them.
func (c *Client) Badges(ctx context.Context) (b []Badge, err error) {
	return b, c.call(ctx, http.MethodGet, "badges", nil, &b)
}

// GiveBadge gives a badge to a person, or takes it back.
func (c *Client) GiveBadge(ctx context.Context, in NewBadge) (b Badge, err error) {
	return b, c.call(ctx, http.MethodPost, "badges", in, &b)
}

// Scanners lists the configured scanners and how they fare.
func (c *Client) Scanners(ctx context.Context) (s []Scanner, err error) {
	return s, c.call(ctx, http.MethodGet, "scanners", nil, &s)
}

// View gives the present state of a bench.
func (c *Client) View(ctx context.Context, benchID string) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodGet, at(benchID, ""), nil, &v)
}

// StartJoint puts a joint on a bench.
func (c *Client) StartJoint(ctx context.Context, benchID string, in Start) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/joint"), in, &v)
}

// CloseJoint takes the joint off a bench.
func (c *Client) CloseJoint(ctx context.Context, benchID string, in Close) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodDelete, at(benchID, "/joint"), in, &v)
}

// Answer answers a check.
func (c *Client) Answer(ctx context.Context, benchID string, in Answer) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/answers"), in, &v)
}

// Name says which fastener a reading was.
func (c *Client) Name(ctx context.Context, benchID string, in Name) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/names"), in, &v)
}

// FitAdapter says what stands between wrench and fastener at a bench.
func (c *Client) FitAdapter(ctx context.Context, benchID string, in Fit) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/adapter"), in, &v)
}

// RemoveAdapter says that nothing stands there any more.
func (c *Client) RemoveAdapter(ctx context.Context, benchID string, in TakeOff) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodDelete, at(benchID, "/adapter"), in, &v)
}

// Renew says that new bolts were fitted.
func (c *Client) Renew(ctx context.Context, benchID string, in Renew) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/renewals"), in, &v)
}

// HandOver puts the joint on a bench into the hands of another person.
func (c *Client) HandOver(ctx context.Context, benchID string, in HandOver) (v bench.View, err error) {
	return v, c.call(ctx, http.MethodPost, at(benchID, "/hand"), in, &v)
}

// Watch calls tell with the present state of a bench and with every update, until ctx ends (its error is returned),
// tell returns an error (that one), or the daemon closes the watch (io.EOF: ask anew).
func (c *Client) Watch(ctx context.Context, benchID string, tell func(Update) error) error {
	resp, err := c.send(ctx, http.MethodGet, at(benchID, "/watch"), nil)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, maxEvent)
	for lines.Scan() {
		body, ok := strings.CutPrefix(lines.Text(), "data: ")
		if !ok {
			continue
		}
		var u Update
		if err := json.Unmarshal([]byte(body), &u); err != nil {
			return fmt.Errorf("read update of bench %s: %w", benchID, err)
		}
		if err := tell(u); err != nil {
			return err
		}
	}
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case lines.Err() != nil:
		return fmt.Errorf("watch bench %s: %w", benchID, lines.Err())
	}
	return io.EOF
}

func at(benchID, rest string) string { return "benches/" + url.PathEscape(benchID) + rest }

func (c *Client) call(ctx context.Context, method, what string, in, out any) error {
	var body io.Reader
	if in != nil {
		text, err := json.Marshal(in)
		if err != nil {
			return fmt.Errorf("write request: %w", err)
		}
		body = bytes.NewReader(text)
	}
	resp, err := c.send(ctx, method, what, body)
	if err != nil {
		return err
	}
	err = json.NewDecoder(resp.Body).Decode(out)
	if err != nil {
		err = fmt.Errorf("read answer of the daemon: %w", err)
	}
	return errors.Join(err, resp.Body.Close())
}

// send returns a response that is good; a refusal is an *Error.
func (c *Client) send(ctx context.Context, method, what string, body io.Reader) (*http.Response, error) {
	if c.fault != nil {
		return nil, c.fault
	}
	req, err := http.NewRequestWithContext(ctx, method, c.base+"/api/v1/"+what, body)
	if err != nil {
		return nil, fmt.Errorf("make request: %w", err)
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	resp, err := c.http.Do(req)
	switch {
	case err != nil && c.token != "":
		return nil, c.unreached(err)
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return nil, fmt.Errorf("%w at %s: start one with `witnessmark serve`, or name its folder with --data", ErrNoDaemon, c.where)
	case errors.Is(err, fs.ErrPermission):
		return nil, &Error{http.StatusForbidden, fmt.Sprintf("the socket %s belongs to another user: run this command as the user of the daemon, for example as root with `runuser -u witnessmark -- witnessmark …`", c.where)}
	case err != nil:
		return nil, fmt.Errorf("ask the daemon: %w", err)
	case resp.StatusCode < 300:
		return resp, nil
	}
	var s sentence
	err = json.NewDecoder(io.LimitReader(resp.Body, maxBody)).Decode(&s)
	if s.Error == "" {
		s.Error = fmt.Sprintf("%s answered %s: is this the address of the pages?", c.where, resp.Status)
		err = nil
	}
	return nil, errors.Join(&Error{resp.StatusCode, s.Error}, err, resp.Body.Close())
}
