package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"time"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/profile"
)

// bench is one place of work with its wrench. It tightens one joint after the other and goes on with one that was left
// when the daemon was stopped.
type bench struct {
	shop   *shop
	no     int
	link   string // where the wrench is plugged in
	port   io.ReadWriteCloser
	form   *profile.Profile
	wrench *sim.Wrench // takes readings only: what it sends goes through port
	draw   *rand.Rand

	sent  int64
	acked atomic.Int64
	heard chan struct{} // gets one after acked has grown

	build uint64   // that the joint belongs to; 0: none is open
	joint int      // of the build, an index
	left  [][]byte // frames of the joint on the bench
	done  []uint64 // builds that can be reviewed
}

// newBench is a bench whose wrench is not plugged in yet.
func newBench(s *shop, no int) (*bench, error) {
	form, err := profile.Builtin("semicolon-xor")
	if err != nil {
		return nil, err
	}
	id := "w" + strconv.Itoa(no)
	return &bench{shop: s, no: no, link: filepath.Join(s.dir, id), form: form, draw: rand.New(rand.NewPCG(1, uint64(no))), heard: make(chan struct{}, 1),
		wrench: sim.New(sim.Options{Wrench: id, Form: form, Meter: sim.CommonMeter(), Clock: time.Now})}, nil
}

func (b *bench) plugIn(ctx context.Context) (err error) {
	if b.port, err = plug(ctx, b.link); err == nil {
		go b.hear()
	}
	return err
}

// plug makes a pseudo-terminal under a stable name.
func plug(ctx context.Context, link string) (io.ReadWriteCloser, error) {
	line, err := sim.Pty(link)
	if err != nil {
		return nil, err
	}
	return line.Open(ctx)
}

// hear counts acknowledgements, one a line, until the port is closed.
func (b *bench) hear() {
	chunk := make([]byte, 4096)
	for {
		n, err := b.port.Read(chunk)
		b.acked.Add(int64(bytes.Count(chunk[:n], []byte("\n"))))
		select {
		case b.heard <- struct{}{}:
		default:
		}
		if err != nil {
			return
		}
	}
}

// pulls is the frames of a joint's readings, made with fresh bolts.
func (b *bench) pulls() ([][]byte, error) {
	j := &b.shop.procedure.Joints[0]
	ids := make([]string, len(j.Fasteners))
	for i := range j.Fasteners {
		ids[i] = j.Fasteners[i].ID
	}
	floor := sim.NewFloor(b.draw.Uint64(), sim.CommonHand(), []sim.Group{{Fasteners: ids, Spec: sim.CommonBolt()}})
	var frames [][]byte
	for _, step := range j.Sequence() {
		f, err := b.pull(floor, ids[step.Fastener], step)
		if err != nil {
			return nil, err
		}
		frames = append(frames, f)
	}
	return frames, nil
}

func (b *bench) pull(floor *sim.Floor, fastener string, step procedure.Step) ([]byte, error) {
	act := sim.Step{Act: sim.TightenTo, Fastener: fastener, Torque: float64(step.Torque) / 1e6}
	if step.Action == procedure.TurnBy {
		act = sim.Step{Act: sim.TurnBy, Fastener: fastener, Angle: float64(step.Angle) / 1e3}
	}
	pull, _, err := floor.Pull(act, sim.CommonMeter().Gauge)
	if err != nil {
		return nil, err
	}
	r, err := b.wrench.Take(pull, "")
	if err != nil {
		return nil, err
	}
	return b.form.Encode(r), nil
}

// person is who works here.
func (b *bench) person() string { return fmt.Sprintf("Fitter %d", b.no) }

// begin puts the next joint on the bench.
func (b *bench) begin(ctx context.Context) (err error) {
	if b.left, err = b.pulls(); err != nil {
		return err
	}
	if b.build == 0 {
		var opened struct{ ID uint64 }
		name := fmt.Sprintf("B%d-%d", b.no, int64(b.shop.had)+b.sent)
		err := b.shop.api.post(ctx, "/api/v1/builds", map[string]any{"engine": "E-" + name, "family": "BENCH", "work_order": "WO-" + name, "person": b.person()}, &opened)
		if err != nil {
			return err
		}
		b.build, b.joint = opened.ID, 0
	}
	return b.shop.api.post(ctx, b.path(), map[string]any{"build": b.build, "joint": b.shop.procedure.Joints[b.joint].ID, "person": b.person()}, nil)
}

func (b *bench) path() string { return fmt.Sprintf("/api/v1/benches/b%d/joint", b.no) }

// end takes the joint off the bench.
func (b *bench) end(ctx context.Context) error {
	if b.joint++; b.joint == len(b.shop.procedure.Joints) {
		b.done, b.build = append(b.done, b.build), 0
	}
	return b.shop.api.ask(ctx, http.MethodDelete, b.path(), map[string]any{"person": b.person()}, nil)
}

// wait returns when all that was sent is acknowledged.
func (b *bench) wait(ctx context.Context) error {
	for b.acked.Load() < b.sent {
		select {
		case <-b.heard:
		case <-ctx.Done():
			return fmt.Errorf("wrench w%d waits for %d of %d acknowledgements: %w", b.no, b.sent-b.acked.Load(), b.sent, ctx.Err())
		}
	}
	return nil
}

// send writes frames to the port.
func (b *bench) send(ctx context.Context, frames [][]byte) error {
	b.sent += int64(len(frames))
	return write(ctx, b.port, bytes.Join(frames, nil))
}

// write goes on for as long as somebody may still read: the port gives a write up after a while.
func write(ctx context.Context, port io.Writer, all []byte) error {
	for len(all) > 0 {
		n, err := port.Write(all)
		all = all[n:]
		if err != nil && (ctx.Err() != nil || !errors.Is(err, os.ErrDeadlineExceeded)) {
			return err
		}
	}
	return nil
}
