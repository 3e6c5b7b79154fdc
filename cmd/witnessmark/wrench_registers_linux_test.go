package main

import (
	"io"
	"log"
	"net"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

// bank is a wrench that keeps its last reading in input registers.
type bank struct {
	first uint16
	block []byte
}

func (b *bank) HandleInputRegisters(r *modbus.InputRegistersRequest) (values []uint16, err error) {
	if r.Addr < b.first || int(r.Addr-b.first+r.Quantity)*2 > len(b.block) {
		return nil, modbus.ErrIllegalDataAddress
	}
	for i := int(r.Addr-b.first) * 2; len(values) < int(r.Quantity); i += 2 {
		values = append(values, uint16(b.block[i])<<8|uint16(b.block[i+1]))
	}
	return values, nil
}

func (*bank) HandleHoldingRegisters(*modbus.HoldingRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}
func (*bank) HandleCoils(*modbus.CoilsRequest) ([]bool, error) { return nil, modbus.ErrIllegalFunction }
func (*bank) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

// TestWrenchTry_Registers: a profile of registers polls the port, and writes nothing to it.
func TestWrenchTry_Registers(t *testing.T) {
	p, err := profile.Builtin("registers-scaled-integers")
	if err != nil {
		t.Fatal(err)
	}
	angle, count := 31*unit.Degree, int64(7)
	torque, err := unit.TorqueIn("45.2", unit.Nm)
	if err != nil {
		t.Fatal(err)
	}
	b := &bank{first: p.Registers().From, block: p.Encode(device.Reading{Torque: torque, Unit: unit.Nm, Angle: &angle, Direction: device.Tighten, Counter: &count})}
	if b.block == nil {
		t.Fatal("got no block for the reading")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	server, err := modbus.NewServer(&modbus.ServerConfiguration{URL: "tcp://" + addr, Timeout: time.Minute, Logger: log.New(io.Discard, "", 0)}, b)
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Stop(); err != nil {
			t.Error(err)
		}
	})
	out, stop := triedLive(t, "registers-scaled-integers", "tcp://"+addr)
	out.await(t, "✓ 45.2 N·m, 31°, tightened, number 7")
	if code := stop(); code != exitOK {
		t.Errorf("got %d and %q, want %d", code, out.text(), exitOK)
	}
}
