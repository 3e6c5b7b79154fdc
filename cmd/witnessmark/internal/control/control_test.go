package control

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// TestMain passes over the half second for which net/http keeps a connection whose request was too long for it.
func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.IgnoreAnyFunction("net/http.(*conn).closeWriteAndWait"))
}

// desk is a shop with one bench that remembers what it was asked.
type desk struct {
	mu      sync.Mutex
	asked   []any
	updates chan Update
	stopped chan struct{}
}

func (d *desk) ask(what any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.asked = append(d.asked, what)
}

func (d *desk) last() any {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.asked) == 0 {
		return nil
	}
	return d.asked[len(d.asked)-1]
}

func (d *desk) at(id string) (bench.View, error) {
	if id != "bench 1/a" {
		return bench.View{}, Unknown("no bench " + id)
	}
	return bench.View{Bench: id, Seq: 7}, nil
}

func (d *desk) Status() Status { return Status{Shop: "north", Entries: 9, Position: 8, Database: "up"} }
func (d *desk) Procedures() []Procedure {
	return []Procedure{{Family: "TB-42", Revision: "4", Used: true}}
}
func (d *desk) Builds() []Build {
	return []Build{{ID: 3, BuildOpened: audit.BuildOpened{Engine: "E1", WorkOrder: "W1"}}}
}
func (d *desk) Benches() []Bench   { return []Bench{{ID: "bench 1/a", Wrenches: []string{"TW-01"}}} }
func (d *desk) Wrenches() []Wrench { return []Wrench{{ID: "TW-01", Up: true}} }
func (d *desk) Badges() []Badge    { return []Badge{{Badge: "B-7", Person: "Ada Holt"}} }
func (d *desk) Scanners() []Scanner {
	return []Scanner{{ID: "S-1", Bench: "bench 1/a", Up: true, Refused: 2}}
}

// CopyJournal breaks off in the middle when it is asked for the second time.
func (d *desk) CopyJournal(_ context.Context, w io.Writer) error {
	again := d.last() == "journal"
	d.ask("journal")
	_, err := io.WriteString(w, strings.Repeat("entry ", 10000))
	if again {
		return errors.New("disk is damaged")
	}
	return err
}

func (d *desk) RecordFinding(_ context.Context, in Finding) (Recorded, error) {
	d.ask(in)
	return Recorded{Entry: 9}, nil
}

func (d *desk) Forget(_ context.Context, in Forget) (Recorded, error) {
	d.ask(in)
	return Recorded{Entry: 9, Person: "ab12"}, nil
}

func (d *desk) GiveBadge(_ context.Context, in NewBadge) (Badge, error) {
	d.ask(in)
	return Badge{Badge: in.Badge, Person: in.To}, nil
}

func (d *desk) GivePassword(_ context.Context, in NewPassword) (PasswordGiven, error) {
	d.ask(in)
	return PasswordGiven{Person: in.Who, Signs: true}, nil
}

func (d *desk) AddProcedure(_ context.Context, in NewProcedure) (Procedure, error) {
	d.ask(in)
	return Procedure{Family: "TB-42"}, nil
}

func (d *desk) OpenBuild(_ context.Context, in NewBuild) (Build, error) {
	d.ask(in)
	if in.Engine == "" {
		return Build{}, Refuse("a build needs an engine")
	}
	if in.Engine == "broken" {
		return Build{}, errors.New("disk is full")
	}
	return Build{ID: 12, BuildOpened: audit.BuildOpened{Engine: in.Engine}}, nil
}

func (d *desk) View(id string) (bench.View, error) { return d.at(id) }

func (d *desk) StartJoint(_ context.Context, id string, in Start) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) CloseJoint(_ context.Context, id string, in Close) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) Answer(_ context.Context, id string, in Answer) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) FitAdapter(_ context.Context, id string, in Fit) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) RemoveAdapter(_ context.Context, id string, in TakeOff) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) Name(_ context.Context, id string, in Name) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) Renew(_ context.Context, id string, in Renew) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) HandOver(_ context.Context, id string, in HandOver) (bench.View, error) {
	d.ask(in)
	return d.at(id)
}

func (d *desk) Watch(id string) (<-chan Update, func(), error) {
	if _, err := d.at(id); err != nil {
		return nil, nil, err
	}
	return d.updates, func() { close(d.stopped) }, nil
}

// open serves a desk on a socket in a folder and gives a client of it.
func open(t *testing.T, folder string, beat time.Duration) (*desk, *Client) {
	t.Helper()
	path := filepath.Join(folder, "control.sock")
	l, err := Listen(path)
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{updates: make(chan Update, 8), stopped: make(chan struct{})}
	s := &http.Server{Handler: handler(d, beat)}
	done := make(chan error, 1)
	go func() { done <- s.Serve(l) }()
	c := NewClient(path)
	t.Cleanup(func() {
		c.Close()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		<-done
	})
	return d, c
}

func TestControl_RoundTrip(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	ctx := t.Context()
	const id = "bench 1/a" // an id that must be escaped in a path arrives as it is
	for name, call := range map[string]func() (got, want any, err error){
		"status":     func() (any, any, error) { g, err := c.Status(ctx); return g, d.Status(), err },
		"procedures": func() (any, any, error) { g, err := c.Procedures(ctx); return g, d.Procedures(), err },
		"builds":     func() (any, any, error) { g, err := c.Builds(ctx); return g, d.Builds(), err },
		"benches":    func() (any, any, error) { g, err := c.Benches(ctx); return g, d.Benches(), err },
		"wrenches":   func() (any, any, error) { g, err := c.Wrenches(ctx); return g, d.Wrenches(), err },
		"badges":     func() (any, any, error) { g, err := c.Badges(ctx); return g, d.Badges(), err },
		"scanners":   func() (any, any, error) { g, err := c.Scanners(ctx); return g, d.Scanners(), err },
		"give badge": func() (any, any, error) {
			in := NewBadge{Badge: "B-7", To: "Bo Lind", Person: "Ada Holt"}
			_, err := c.GiveBadge(ctx, in)
			return d.last(), in, err
		},
		"record finding": func() (any, any, error) {
			in := Finding{Wrench: "TW-01", Certificate: "K-1", Found: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Points: "2 %@40 N·m", Adjusted: true, Person: "Ada Holt"}
			got, err := c.RecordFinding(ctx, in)
			return []any{d.last(), got}, []any{in, Recorded{Entry: 9}}, err
		},
		"forget": func() (any, any, error) {
			in := Forget{Who: "Bo Lind", Reason: "ten years", Person: "Ada Holt"}
			got, err := c.Forget(ctx, in)
			return []any{d.last(), got}, []any{in, Recorded{Entry: 9, Person: "ab12"}}, err
		},
		"view": func() (any, any, error) { g, err := c.View(ctx, id); return g.Seq, uint64(7), err },
		"add procedure": func() (any, any, error) {
			in := NewProcedure{File: "a.yaml", Text: "format: µ\n"}
			_, err := c.AddProcedure(ctx, in)
			return d.last(), in, err
		},
		"open build": func() (any, any, error) {
			in := NewBuild{Engine: "E1", Family: "TB-42", WorkOrder: "W1", Unit: "U1", Person: "Ada Holt"}
			_, err := c.OpenBuild(ctx, in)
			return d.last(), in, err
		},
		"start joint": func() (any, any, error) {
			in := Start{Build: 12, Joint: "main-caps", Afresh: true, Person: "Ada Holt"}
			_, err := c.StartJoint(ctx, id, in)
			return d.last(), in, err
		},
		"close joint": func() (any, any, error) {
			in := Close{Person: "Ada Holt"}
			_, err := c.CloseJoint(ctx, id, in)
			return d.last(), in, err
		},
		"answer": func() (any, any, error) {
			in := Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}
			_, err := c.Answer(ctx, id, in)
			return d.last(), in, err
		},
		"fit adapter": func() (any, any, error) {
			in := Fit{Adapter: "cf-22", Wrench: "TW-01", WrenchLength: "400 mm", Extension: "60 mm", Angle: "30°", Person: "Ada Holt"}
			_, err := c.FitAdapter(ctx, id, in)
			return d.last(), in, err
		},
		"remove adapter": func() (any, any, error) {
			in := TakeOff{Wrench: "TW-01", Person: "Ada Holt"}
			_, err := c.RemoveAdapter(ctx, id, in)
			return d.last(), in, err
		},
		"name": func() (any, any, error) {
			in := Name{Reading: 4, Fastener: "7", Person: "Ada Holt"}
			_, err := c.Name(ctx, id, in)
			return d.last(), in, err
		},
		"renew": func() (any, any, error) {
			in := Renew{Fasteners: []string{"7", "8"}, Reason: "stretched", Person: "Ada Holt"}
			_, err := c.Renew(ctx, id, in)
			return d.last(), in, err
		},
		"hand over": func() (any, any, error) {
			in := HandOver{Person: "Bo Lind"}
			_, err := c.HandOver(ctx, id, in)
			return d.last(), in, err
		},
	} {
		t.Run(name, func(t *testing.T) {
			got, want, err := call()
			if err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v, %v, want %+v", got, err, want)
			}
		})
	}
}

func TestControl_Refusals(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	post := func(what, body string) error {
		resp, err := c.send(t.Context(), http.MethodPost, what, strings.NewReader(body))
		if err == nil {
			err = errors.Join(errors.New("accepted"), resp.Body.Close())
		}
		return err
	}
	for name, tc := range map[string]struct {
		err    error
		status int
		says   string
	}{
		"a sentence of the shop comes through":   {post("builds", `{"engine":""}`), 409, "a build needs an engine"},
		"a fault of the daemon is a 500":         {post("builds", `{"engine":"broken"}`), 500, "disk is full"},
		"an unknown bench is a 404":              {post("benches/2/names", `{"fastener":"1"}`), 404, "no bench 2"},
		"an unknown field is refused":            {post("builds", `{"engine":"E1","motor":"E1"}`), 400, `unknown field "motor"`},
		"two objects are refused":                {post("builds", `{"engine":"E1"}{}`), 400, "one object"},
		"no JSON is refused":                     {post("builds", `engine: E1`), 400, "not the expected JSON"},
		"a body without end is refused":          {post("builds", `{"engine":"`+strings.Repeat("E", maxBody)+`"}`), 413, "longer than"},
		"a path that is not served says so":      {post("engines", `{}`), 404, "not served here"},
		"a method that is not served is a fault": {post("benches", `{}`), 404, "not served here"},
	} {
		t.Run(name, func(t *testing.T) {
			var e *Error
			if !errors.As(tc.err, &e) || e.Status != tc.status || !strings.Contains(e.Sentence, tc.says) {
				t.Errorf("got %v, want status %d and %q", tc.err, tc.status, tc.says)
			}
		})
	}
	if len(d.asked) != 3 {
		t.Errorf("got %+v at the desk, want the three well-formed requests only", d.asked)
	}
}

func TestControl_Watch(t *testing.T) {
	errEnough := errors.New("enough")
	t.Run("updates come in order until the watcher has enough", func(t *testing.T) {
		d, c := open(t, t.TempDir(), time.Hour)
		for seq := uint64(1); seq <= 3; seq++ {
			d.updates <- Update{View: bench.View{Seq: seq}, Kind: "reading"}
		}
		var got []uint64
		err := c.Watch(t.Context(), "bench 1/a", func(u Update) error {
			if got = append(got, u.View.Seq); len(got) == 3 {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) || !reflect.DeepEqual(got, []uint64{1, 2, 3}) {
			t.Errorf("got %v, %v, want 1 2 3 and %v", got, err, errEnough)
		}
		<-d.stopped // the desk is told, or it would keep the watcher for ever
	})
	t.Run("a closed watch is io.EOF", func(t *testing.T) {
		d, c := open(t, t.TempDir(), time.Hour)
		close(d.updates)
		if err := c.Watch(t.Context(), "bench 1/a", func(Update) error { return nil }); err != io.EOF {
			t.Errorf("got %v, want %v", err, io.EOF)
		}
	})
	t.Run("an unknown bench is refused", func(t *testing.T) {
		_, c := open(t, t.TempDir(), time.Hour)
		var e *Error
		if err := c.Watch(t.Context(), "2", nil); !errors.As(err, &e) || e.Status != 404 {
			t.Errorf("got %v, want a 404", err)
		}
	})
	t.Run("a quiet watch beats", func(t *testing.T) {
		_, c := open(t, t.TempDir(), time.Millisecond)
		resp, err := c.send(t.Context(), http.MethodGet, at("bench 1/a", "/watch"), nil)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		got := make([]byte, 12)
		if _, err := io.ReadFull(resp.Body, got); err != nil || !bytes.HasPrefix(got, []byte(": still")) {
			t.Errorf("got %q, %v, want a comment", got, err)
		}
	})
}

func TestListen_DeepFolder(t *testing.T) {
	deep := filepath.Join(t.TempDir(), strings.Repeat("deep/", 30))
	if err := os.MkdirAll(deep, 0o700); err != nil {
		t.Fatal(err)
	}
	if len(deep) <= maxAddress {
		t.Fatalf("the folder has %d bytes, want more than a socket address holds", len(deep))
	}
	_, c := open(t, deep, time.Hour)
	if _, err := c.Status(t.Context()); err != nil {
		t.Errorf("got %v, want an answer through a path of %d bytes", err, len(deep))
	}
}

func TestListen_File(t *testing.T) {
	path := filepath.Join(t.TempDir(), "control.sock")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	l, err := Listen(path)
	if err != nil {
		t.Fatalf("got %v, want the file of a killed daemon replaced", err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("got mode %v, %v, want 0600", info.Mode().Perm(), err)
	}
	if err := l.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("got %v, want the file gone after Close", err)
	}
}

func TestClient_NoDaemon(t *testing.T) {
	c := NewClient(filepath.Join(t.TempDir(), "control.sock"))
	if _, err := c.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "witnessmark serve") {
		t.Errorf("got %v, want a sentence that says what to start", err)
	}
}
