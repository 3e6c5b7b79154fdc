// Command wrenchsim stands in for digital torque wrenches, on pseudo-terminals or over TCP: it plays a script of pulls
// on simulated bolts, telling what each pull really was, or puts a load on a daemon.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"
)

// commands is the command line.
type commands struct {
	Play    playCommand    `cmd:"" help:"Play a script of pulls and tell what each pull really was."`
	Load    loadCommand    `cmd:"" help:"Let many wrenches send readings at a steady rate."`
	History historyCommand `cmd:"" help:"Fill a database with a made-up history of years, to measure on."`
	Trial   trialCommand   `cmd:"" help:"Hold the matching against runs with known slips, and print what it found."`
	Example exampleCommand `cmd:"" help:"Print a script with comments, to start from."`
}

const about = `Simulated digital torque wrenches, on pseudo-terminals or over TCP.

A simulated wrench keeps every reading in its memory, byte for byte, until it is acknowledged, and sends it again after
a hang-up or when no acknowledgement comes. Its bolts wind up, yield and stick; its operator overshoots.
One whose profile reads registers is a Modbus TCP slave; give it an address with --listen.

Try: wrenchsim example >bench.yaml; wrenchsim play bench.yaml --pty /tmp/wrench-1`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the program without the process: 0 done, 1 it went wrong, 2 the command line or the script is wrong.
func run(ctx context.Context, args []string, out, notes io.Writer) int {
	var c commands
	ended := false
	parser, err := kong.New(&c, kong.Name("wrenchsim"), kong.Description(about), kong.Writers(out, notes),
		kong.Exit(func(int) { ended = true }), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(streams{out, notes}))
	if err != nil {
		fmt.Fprintf(notes, "wrenchsim: %v\n", err)
		return 2
	}
	parsed, err := parser.Parse(args)
	switch {
	case ended: // --help has been printed
		return 0
	case err != nil:
		fmt.Fprintf(notes, "wrenchsim: %v; see wrenchsim --help\n", err)
		return 2
	}
	if err := parsed.Run(); err != nil {
		fmt.Fprintf(notes, "wrenchsim: %v\n", err)
		var input inputError
		if errors.As(err, &input) {
			return 2
		}
		return 1
	}
	return 0
}

// streams is where results and notes go.
type streams struct{ out, notes io.Writer }

// inputError marks what the user has to put right.
type inputError struct{ error }

func (e inputError) Unwrap() error { return e.error }
