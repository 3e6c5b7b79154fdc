package port

import (
	"fmt"

	"go.bug.st/serial"
)

var parities = map[string]serial.Parity{
	"none": serial.NoParity, "odd": serial.OddParity, "even": serial.EvenParity,
	"mark": serial.MarkParity, "space": serial.SpaceParity,
}

// stops maps 1.5 to 2, because Linux knows no other: its CSTOPB is "two", and a UART makes 1.5 of it with 5 data bits.
// On the wire a stop bit is idle time and its length a minimum: who wants 1.5 is content with 2, and whoever receives
// looks at the first stop bit only, whatever was set.
var stops = map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.TwoStopBits, "2": serial.TwoStopBits}

// settings is the mode in the words of the library that sets the port.
func (m Mode) settings() (*serial.Mode, error) {
	parity, known := parities[m.Parity]
	if !known {
		return nil, fmt.Errorf("found parity %q, write none, odd, even, mark or space", m.Parity)
	}
	stop, known := stops[m.StopBits]
	if !known {
		return nil, fmt.Errorf("found stop bits %q, write 1, 1.5 or 2", m.StopBits)
	}
	if m.DataBits < 5 || m.DataBits > 8 {
		return nil, fmt.Errorf("found %d data bits, write 5, 6, 7 or 8", m.DataBits)
	}
	if m.Baud < 1 {
		return nil, fmt.Errorf("found %d baud, write the speed in bits a second", m.Baud)
	}
	return &serial.Mode{BaudRate: m.Baud, DataBits: m.DataBits, Parity: parity, StopBits: stop}, nil
}
