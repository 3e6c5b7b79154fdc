package control

import (
	"context"
	"net/http"
	"time"
)

// Finding records how a wrench was found at a calibration.
type Finding struct {
	Wrench      string    `json:"wrench"`
	Certificate string    `json:"certificate"`
	Found       time.Time `json:"found"`
	Points      string    `json:"points,omitempty"` // such as "2.5 %@40 N·m, 3 %@200 N·m"
	Good        bool      `json:"good"`
	Adjusted    bool      `json:"adjusted,omitempty"`
	Person      string    `json:"person"`
}

// Forget asks to blank a person's name.
type Forget struct {
	Who    string `json:"who"` // name or id
	Reason string `json:"reason"`
	Person string `json:"person"`
}

// Recorded is the entry that an action led to.
type Recorded struct {
	Entry  uint64 `json:"entry"`
	Person string `json:"person,omitempty"` // id of who was forgotten
}

// RecordDesk is the part of a Desk that records what was found out later.
type RecordDesk interface {
	RecordFinding(context.Context, Finding) (Recorded, error)
	Forget(context.Context, Forget) (Recorded, error)
}

func routeRecords(mux routes, d RecordDesk) {
	mux.HandleFunc("POST /api/v1/findings", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Finding) (any, error) { return d.RecordFinding(r.Context(), in) })
	})
	mux.HandleFunc("POST /api/v1/forgotten", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Forget) (any, error) { return d.Forget(r.Context(), in) })
	})
}

// RecordFinding records how a wrench was found.
func (c *Client) RecordFinding(ctx context.Context, in Finding) (out Recorded, err error) {
	return out, c.call(ctx, http.MethodPost, "findings", in, &out)
}

// Forget blanks a name.
func (c *Client) Forget(ctx context.Context, in Forget) (out Recorded, err error) {
	return out, c.call(ctx, http.MethodPost, "forgotten", in, &out)
}
