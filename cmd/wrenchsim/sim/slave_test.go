package sim

import (
	"context"
	"io"
	"log"
	"net"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	"witnessmark/device"
	"witnessmark/device/profile"
)

// slaveUnderTest is a plugged-in slave of 14 registers from 256, and a client of it.
func slaveUnderTest(t *testing.T) (*Wrench, *modbus.ModbusClient) {
	t.Helper()
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
	line, form, err := Slave(addr, p)
	if err != nil {
		t.Fatal(err)
	}
	w := New(Options{Wrench: "w1", Form: form, Line: line, Meter: CommonMeter(), Clock: time.Now})
	t.Cleanup(func() { w.Close() })
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + addr, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Open(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return w, c
}

func TestSlave_HoldsAReadingUntilItIsTold(t *testing.T) {
	w, c := slaveUnderTest(t)
	r, err := w.Take(Pull{Torque: 45.2, Angle: 31}, "")
	if err != nil {
		t.Fatal(err)
	}
	wait, err := w.Put(r)
	if err != nil {
		t.Fatal(err)
	}
	got, err := c.ReadRegisters(256, 4, modbus.HOLDING_REGISTER)
	for err == nil && got[0] == 0 { // plugging in and the first write are at work at the same time
		got, err = c.ReadRegisters(256, 4, modbus.HOLDING_REGISTER)
	}
	if err != nil || got[0] != 0x5457 || got[1] != 1 || got[2] != 0 || got[3] != 0xCCCD { // 45.2 is 4234 CCCD
		t.Fatalf("got registers %04X, %v, want 5457 0001 0000 CCCD", got, err)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if err := wait(over); err == nil {
		t.Error("got a reading that is forgotten before it is on disk")
	}
	if err := c.WriteRegister(301, 1); err != nil { // the light
		t.Fatal(err)
	}
	if err := c.WriteRegister(300, 1); err != nil {
		t.Fatal(err)
	}
	if err := wait(t.Context()); err != nil {
		t.Errorf("got %v, want the reading forgotten", err)
	}
}

func TestSlave_Refuses(t *testing.T) {
	_, c := slaveUnderTest(t)
	for rule, ask := range map[string]struct {
		do   func() error
		want error
	}{
		"registers before its own":   {func() error { _, err := c.ReadRegister(255, modbus.HOLDING_REGISTER); return err }, modbus.ErrIllegalDataAddress},
		"registers behind its own":   {func() error { _, err := c.ReadRegisters(256, 15, modbus.HOLDING_REGISTER); return err }, modbus.ErrIllegalDataAddress},
		"registers of another table": {func() error { _, err := c.ReadRegister(256, modbus.INPUT_REGISTER); return err }, modbus.ErrIllegalDataAddress},
		"answers elsewhere":          {func() error { return c.WriteRegister(256, 1) }, modbus.ErrIllegalDataAddress},
		"coils":                      {func() error { _, err := c.ReadCoil(1); return err }, modbus.ErrIllegalFunction},
		"inputs of one bit":          {func() error { _, err := c.ReadDiscreteInput(1); return err }, modbus.ErrIllegalFunction},
	} {
		if err := ask.do(); err != ask.want {
			t.Errorf("%s: got %v, want %v", rule, err, ask.want)
		}
	}
	c.SetUnitId(2)
	if _, err := c.ReadRegister(256, modbus.HOLDING_REGISTER); err != modbus.ErrGWTargetFailedToRespond {
		t.Errorf("another unit: got %v, want %v", err, modbus.ErrGWTargetFailedToRespond)
	}
}

// A reading for which the form has no room would else be waited for without end.
func TestWrench_PutsOnlyWhatItsFormHolds(t *testing.T) {
	w, _ := slaveUnderTest(t)
	count := int64(1) << 40
	if wait, err := w.Put(device.Reading{TorqueText: "45.2", Unit: "N·m", Counter: &count}); wait != nil || err == nil {
		t.Errorf("got %v, want a counter beyond its register refused", err)
	}
}
