package control

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

// Limits of a request's body in bytes: a procedure file is the only long one.
const (
	maxBody      = 64 << 10
	maxProcedure = 4 << 20
)

// Beat is how often a quiet watch sends a comment, so that both ends notice a dead connection.
const Beat = 15 * time.Second

// server holds what every request needs.
type server struct {
	desk Desk
	beat time.Duration
}

// Handler serves the requests of the package comment from a desk.
func Handler(d Desk) http.Handler { return handler(d, Beat) }

func handler(d Desk, beat time.Duration) http.Handler {
	mux := http.NewServeMux()
	server{d, beat}.route(mux)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		reply(w, nil, Unknown(fmt.Sprintf("%s %s is not served here: use the commands of this program", r.Method, r.URL.Path)))
	})
	return mux
}

func (s server) route(mux routes) {
	d := s.desk
	mux.Handle("GET /api/v1/status", list(d.Status))
	mux.Handle("GET /api/v1/procedures", list(d.Procedures))
	mux.Handle("GET /api/v1/builds", list(d.Builds))
	mux.Handle("GET /api/v1/benches", list(d.Benches))
	mux.Handle("GET /api/v1/wrenches", list(d.Wrenches))
	mux.Handle("GET /api/v1/badges", list(d.Badges))
	mux.Handle("GET /api/v1/scanners", list(d.Scanners))
	mux.HandleFunc("POST /api/v1/badges", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in NewBadge) (any, error) { return d.GiveBadge(r.Context(), in) })
	})
	mux.HandleFunc("POST /api/v1/procedures", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxProcedure, func(in NewProcedure) (any, error) { return d.AddProcedure(r.Context(), in) })
	})
	mux.HandleFunc("POST /api/v1/builds", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in NewBuild) (any, error) { return d.OpenBuild(r.Context(), in) })
	})
	mux.HandleFunc("GET /api/v1/benches/{id}", func(w http.ResponseWriter, r *http.Request) {
		v, err := d.View(r.PathValue("id"))
		reply(w, v, err)
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/joint", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Start) (any, error) { return d.StartJoint(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("DELETE /api/v1/benches/{id}/joint", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Close) (any, error) { return d.CloseJoint(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/answers", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Answer) (any, error) { return d.Answer(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/names", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Name) (any, error) { return d.Name(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/adapter", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Fit) (any, error) { return d.FitAdapter(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("DELETE /api/v1/benches/{id}/adapter", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in TakeOff) (any, error) { return d.RemoveAdapter(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/renewals", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Renew) (any, error) { return d.Renew(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("POST /api/v1/benches/{id}/hand", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in HandOver) (any, error) { return d.HandOver(r.Context(), r.PathValue("id"), in) })
	})
	mux.HandleFunc("GET /api/v1/benches/{id}/watch", s.watch)
	routeReleases(mux, d)
	routeRecords(mux, d)
	routeLedger(mux, d)
	routeTokens(mux, d)
	routeOpenAPI(mux)
}

func list[T any](get func() T) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { reply(w, get(), nil) })
}

// act reads a strict body, does what it asks and replies.
func act[In any](w http.ResponseWriter, r *http.Request, limit int64, do func(In) (any, error)) {
	var in In
	if err := decode(http.MaxBytesReader(w, r.Body, limit), &in); err != nil {
		reply(w, nil, err)
		return
	}
	if err := sign(r.Context(), &in); err != nil {
		reply(w, nil, err)
		return
	}
	out, err := do(in)
	reply(w, out, err)
}

func decode(body io.Reader, in any) error {
	d := json.NewDecoder(body)
	d.DisallowUnknownFields()
	if err := d.Decode(in); err != nil {
		var long *http.MaxBytesError
		if errors.As(err, &long) {
			return &Error{http.StatusRequestEntityTooLarge, fmt.Sprintf("the request is longer than %d bytes", long.Limit)}
		}
		return Malformed("the request is not the expected JSON object: " + strings.TrimPrefix(err.Error(), "json: "))
	}
	if _, err := d.Token(); err != io.EOF {
		return Malformed("the request goes on after its JSON object: send one object only")
	}
	return nil
}

// Refused writes an error as every refusal of the API is written.
func Refused(w http.ResponseWriter, err error) { reply(w, nil, err) }

type sentence struct {
	Error string `json:"error"`
}

func reply(w http.ResponseWriter, out any, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	if err != nil {
		status := http.StatusInternalServerError
		var e *Error
		if errors.As(err, &e) {
			status = e.Status
		}
		w.WriteHeader(status)
		out = sentence{err.Error()}
	}
	// A reader that hung up is no fault of ours, and there is nobody left to tell.
	_ = json.NewEncoder(w).Encode(out)
}

func (s server) watch(w http.ResponseWriter, r *http.Request) {
	updates, stop, err := s.desk.Watch(r.PathValue("id"))
	if err != nil {
		reply(w, nil, err)
		return
	}
	defer stop()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	out := http.NewResponseController(w)
	beat := time.NewTicker(s.beat)
	defer beat.Stop()
	for {
		select {
		case u, ok := <-updates:
			if !ok {
				return
			}
			err = event(w, u)
		case <-beat.C:
			_, err = io.WriteString(w, ": still here\n\n")
		case <-r.Context().Done():
			return
		}
		if err != nil || out.Flush() != nil {
			return
		}
	}
}

func event(w io.Writer, u Update) error {
	body, err := json.Marshal(u)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "event: bench\nid: %d\ndata: %s\n\n", u.View.Seq, body)
	return err
}
