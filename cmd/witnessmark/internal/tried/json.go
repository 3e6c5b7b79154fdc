package tried

import (
	"encoding/hex"
	"encoding/json"
	"io"
	"time"

	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/trial"
)

// Lines writes for machines: one JSON object a line, and the tally as the last one.
type Lines struct {
	Out    io.Writer
	frames int
	failed error
}

// frameLine is the line of a frame. Exactly one of reading, refusal and ignored is there.
type frameLine struct {
	Frame   int             `json:"frame"` // from 1
	AtMS    int64           `json:"at_ms"` // since the start
	Bytes   string          `json:"bytes"` // in hexadecimal digits
	Parts   []partLine      `json:"parts"`
	Reading *device.Reading `json:"reading,omitempty"`
	Refusal *device.Refusal `json:"refusal,omitempty"`
	Ignored bool            `json:"ignored,omitempty"`
}

type partLine struct {
	From    int    `json:"from"`
	To      int    `json:"to"` // the byte behind the last one
	Name    string `json:"name"`
	Meaning string `json:"meaning"`
}

// portLine says that the port went away or came back.
type portLine struct {
	AtMS int64  `json:"at_ms"`
	Port string `json:"port"` // gone or open
	What string `json:"what,omitempty"`
}

func (l *Lines) write(v any) {
	if l.failed == nil {
		l.failed = json.NewEncoder(l.Out).Encode(v)
	}
}

// Frame writes one frame.
func (l *Lines) Frame(f trial.Frame, e profile.Explanation) {
	l.frames++
	line := frameLine{Frame: l.frames, AtMS: f.At.Milliseconds(), Bytes: hex.EncodeToString(f.Bytes), Parts: []partLine{},
		Reading: f.Result.Reading, Refusal: f.Result.Refusal, Ignored: f.Result.Ignored}
	for _, p := range e.Parts {
		line.Parts = append(line.Parts, partLine{p.From, p.To, p.Name, p.Meaning})
	}
	l.write(line)
}

// Gone says that the port went away.
func (l *Lines) Gone(at time.Duration, what string) {
	l.write(portLine{at.Milliseconds(), "gone", what})
}

// Back says that the port is open.
func (l *Lines) Back(at time.Duration) { l.write(portLine{at.Milliseconds(), "open", ""}) }

// End writes the tally.
func (l *Lines) End(t Tally) error {
	l.write(struct {
		Summary Tally `json:"summary"`
	}{t})
	return l.failed
}
