package main

import (
	"bytes"
	"context"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/link"
	"witnessmark/device/modbus"
	"witnessmark/device/profile"
)

// counts is a link.Sink that keeps the counts of what came.
type counts struct{ kept []int64 }

func (c *counts) Reading(_ context.Context, r device.Reading, _ time.Time) (uint64, error) {
	c.kept = append(c.kept, *r.Counter)
	return uint64(len(c.kept)), nil
}

func (*counts) Refusal(context.Context, device.Refusal) error { return nil }

// A simulated slave is read over Modbus TCP, and waits with each reading for the acknowledgement of the one before.
func TestLoad_Slave(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	p, err := profile.Builtin("registers-swapped-floats")
	if err != nil {
		t.Fatal(err)
	}
	place, err := modbus.At("tcp://"+addr, p)
	if err != nil {
		t.Fatal(err)
	}
	heard := &counts{}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- link.Run(ctx, link.Link{Wrench: "w1", Place: place, Profile: p, Sink: heard}) }()

	var out, notes bytes.Buffer
	args := []string{"load", "--listen", addr, "--wrenches", "1", "--rate", "0", "--count", "5", "--profile", p.Name, "--every", "0"}
	if code := run(t.Context(), args, &out, &notes); code != 0 {
		t.Errorf("got exit code %d, %s", code, &notes)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Errorf("got %v of the link, want no error", err)
	}
	if !strings.HasPrefix(out.String(), "5 of 5 readings acknowledged") {
		t.Errorf("got %q, want a sum of 5 of 5", &out)
	}
	if want := []int64{1, 2, 3, 4, 5}; !slices.Equal(heard.kept, want) {
		t.Errorf("got counts %v, want %v", heard.kept, want)
	}
}
