package main

import (
	"bufio"
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

//go:embed peer.py
var peerText string

// lineByLine gives psql one COPY a line, and so one commit.
const lineByLine = `while IFS= read -r line && [[ $line != \\.* ]]; do printf 'COPY bench.raw FROM STDIN;\n%%s\n\\.\n' "${line%%$'\r'}"; done <%q |
	psql -q -v ON_ERROR_STOP=1 %q`

// peer is another program that takes lines from a port into the database.
type peer struct {
	name        string
	aim, python bool // named by the aim; needs Python
	lines       int
	end         string // the line after the last
	start       func(ctx context.Context, port, database string, lines int) *exec.Cmd
}

func (s *shop) peers() []peer {
	many, few := 240_000, 2400
	if s.opt.quick {
		many, few = 24_000, 240
	}
	return []peer{
		{"Python, pyserial and psycopg2, a commit a line", false, true, few, "", func(ctx context.Context, port, database string, lines int) *exec.Cmd {
			return exec.CommandContext(ctx, s.opt.python, filepath.Join(s.dir, "peer.py"), port, database, fmt.Sprint(lines))
		}},
		{"psql COPY from the port, a commit a line", true, false, few, "\\.\r\n", func(ctx context.Context, port, database string, _ int) *exec.Cmd {
			return exec.CommandContext(ctx, "bash", "-c", fmt.Sprintf(lineByLine, port, database))
		}},
		{"psql COPY from the port, one commit after the last line", true, false, many, "\\.\r\n", func(ctx context.Context, port, database string, _ int) *exec.Cmd {
			return exec.CommandContext(ctx, "psql", "-q", database, "-c", fmt.Sprintf(`\copy bench.raw from '%s'`, port))
		}},
	}
}

// play gives the peer its lines and returns how many a second it took. Only what comes to the database counts.
func (s *shop) play(ctx context.Context, p peer) (_ float64, err error) {
	conn, err := s.connect(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	if _, err := conn.Exec(ctx, `DROP TABLE IF EXISTS bench.raw, bench.line; CREATE TABLE bench.raw (line text);
		CREATE TABLE bench.line (count bigint, torque numeric, unit text, angle numeric, raw bytea)`); err != nil {
		return 0, err
	}
	lines, err := s.lines(p.lines)
	if err != nil {
		return 0, err
	}
	link := filepath.Join(s.dir, "peer")
	port, err := plug(ctx, link)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, port.Close()) }()
	go func() { _, _ = io.Copy(io.Discard, port) }() // acknowledgements
	cmd := p.start(ctx, link, fmt.Sprintf("host=%s port=5432 user=witnessmark dbname=postgres", s.data("postgres")), p.lines)
	took, err := feed(cmd, port, lines, p.end)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", p.name, err)
	}
	var rows int
	if err := conn.QueryRow(ctx, "SELECT (SELECT count(*) FROM bench.raw) + (SELECT count(*) FROM bench.line)").Scan(&rows); err != nil {
		return 0, err
	}
	if rows != p.lines {
		return 0, fmt.Errorf("%s: got %d rows of %d lines", p.name, rows, p.lines)
	}
	return per(rows, took), nil
}

// lines are those of n readings, as the wrenches send them.
func (s *shop) lines(n int) ([]byte, error) {
	b, err := newBench(s, crowd)
	if err != nil {
		return nil, err
	}
	var all []byte
	for n > 0 {
		frames, err := b.pulls()
		if err != nil {
			return nil, err
		}
		frames = frames[:min(n, len(frames))]
		n -= len(frames)
		all = append(all, bytes.Join(frames, nil)...)
	}
	return all, nil
}

// feed starts the program, writes the lines when it is ready or at once if it never says so, and waits for its end. The
// time counts from the first line.
func feed(cmd *exec.Cmd, port io.Writer, lines []byte, end string) (time.Duration, error) {
	said, err := cmd.StdoutPipe()
	if err != nil {
		return 0, err
	}
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	if err := cmd.Start(); err != nil {
		return 0, err
	}
	if end == "" {
		bufio.NewScanner(said).Scan() // it says that it is ready
	}
	go func() { _, _ = io.Copy(io.Discard, said) }() // psql prompts a port, line for line
	began := time.Now()
	alive, ended := context.WithCancel(context.Background())
	fed := make(chan error)
	go func() { fed <- write(alive, port, append(lines, end...)) }()
	err = cmd.Wait()
	took := time.Since(began)
	ended()
	if err := errors.Join(err, <-fed); err != nil {
		return 0, fmt.Errorf("%w: %s", err, strings.TrimSpace(wrong.String()))
	}
	return took, nil
}
