package web

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// benchView is what the page of a bench shows.
type benchView struct {
	bench.View
	Bench    control.Bench
	Spots    []bench.Spot
	Replies  []bench.Reply
	Wrenches []wrenchRow
	Recorded bool   // all that it shows is in PostgreSQL
	Database string // "up", or why not
	Disk     string // what is wrong with the disk, empty: nothing
	Form     bool   // who looks may record here
	Station  string // the bench of this browser; empty: none
}

func (p *Pages) home(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "home", p.say(r, "menu.benches"), p.Shop.Benches())
}

func (p *Pages) benchPage(w http.ResponseWriter, r *http.Request) {
	v, err := p.look(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "bench", p.say(r, "title.bench", "Bench", v.Bench.ID), v)
}

// look is the present state of the bench of a request.
func (p *Pages) look(r *http.Request) (v benchView, err error) {
	id := r.PathValue("bench")
	if v.View, err = p.Shop.View(id); err != nil {
		return v, err
	}
	for _, b := range p.Shop.Benches() {
		if b.ID == id {
			v.Bench = b
		}
	}
	for _, w := range p.wrenchRows(r) {
		if w.Bench == id {
			v.Wrenches = append(v.Wrenches, w)
		}
	}
	p.Shop.Look(func(s *bench.Shop) { v.Spots, v.Replies = s.Spots(id), s.Replies(id) })
	st := p.Shop.Status()
	v.Recorded, v.Database, v.Disk = st.Position >= v.Seq, st.Database, st.Disk
	who := p.who(r)
	v.Form, v.Station = len(who.Roles) > 0 && (who.Bench == "" || who.Bench == id), p.station(r)
	return v, nil
}

// settleWait is how long after an update the page asks again whether it is recorded.
const settleWait = 300 * time.Millisecond

// benchLive sends the middle of the page whenever something happens at the bench, and when it has been recorded. A page
// that fell behind is told nothing old: it gets the present state.
func (p *Pages) benchLive(w http.ResponseWriter, r *http.Request) {
	updates, stop, err := p.Shop.Watch(r.PathValue("bench"))
	if err != nil {
		p.refused(w, r, err)
		return
	}
	defer stop()
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	tick := time.NewTicker(settleWait)
	defer tick.Stop()
	last, quiet := "", 0
	for {
		fresh := ""
		select {
		case u, ok := <-updates:
			if !ok {
				return
			}
			if fresh = sound(u); fresh != "" {
				p.touch(r)
			}
		case <-tick.C:
		case <-r.Context().Done():
			return
		}
		v, err := p.look(r)
		if err != nil {
			return
		}
		if p.who(p.anew(r)).ID == "" { // the page goes to the sign-in
			over(w)
			return
		}
		text, err := p.middle(r, v)
		if err != nil {
			p.Log.Error().Err(err).Msg("a bench cannot be shown")
			return
		}
		if quiet++; text == last && fresh == "" && quiet < int(control.Beat/settleWait) {
			continue
		}
		if last, quiet = text, 0; send(w, fresh, text) != nil || out.Flush() != nil {
			return
		}
	}
}

// over tells a page that nobody is signed in any more: it goes to the sign-in.
func over(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/event-stream")
	_, _ = io.WriteString(w, "event: over\ndata:\n\n")
}

func (p *Pages) middle(r *http.Request, v benchView) (string, error) {
	var b bytes.Buffer
	err := p.words(r).templates.ExecuteTemplate(&b, "middle", v)
	return b.String(), err
}

// The sounds of a bench, as its page knows them.
const (
	soundPass      = "pass"
	soundAttention = "attention"
)

// sound is what an update should sound like: a reading passed, or somebody should look. It is empty for what is no reading.
func sound(u control.Update) string {
	switch last := u.View.Last; {
	case u.Kind != audit.ReadingTaken{}.Kind() || last == nil:
		return ""
	case last.Mark.Verdict == audit.Pass && len(last.Mark.Odd()) == 0:
		return soundPass
	}
	return soundAttention
}

// send writes one event: the first data line says the sound, the others are the page.
func send(w io.Writer, sound, text string) error {
	_, err := fmt.Fprintf(w, "event: bench\ndata: %s\ndata: %s\n\n", sound, strings.ReplaceAll(text, "\n", "\ndata: "))
	return err
}

// refused shows why something was not done.
func (p *Pages) refused(w http.ResponseWriter, r *http.Request, err error) {
	var e *control.Error
	if errors.As(err, &e) {
		p.fault(w, r, e.Status, e.Sentence)
		return
	}
	p.Log.Error().Err(err).Msg("a request failed")
	p.fault(w, r, http.StatusInternalServerError, en("refusal.this-could-not-be-done-the-log-of"))
}

// back goes to the page of the bench after an action, with what became of it.
func (p *Pages) back(w http.ResponseWriter, r *http.Request, err error) {
	var e *control.Error
	switch {
	case errors.As(err, &e):
		p.sessions.Put(r.Context(), sessionNotice, p.say(r, "notice.not-done-why", "Why", p.sentence(r, e.Sentence)))
	case err != nil:
		p.refused(w, r, err)
		return
	}
	http.Redirect(w, r, "/bench/"+r.PathValue("bench"), http.StatusSeeOther)
}

func number(r *http.Request, field string) uint64 {
	n, _ := strconv.ParseUint(r.FormValue(field), 10, 64) // what is no number is 0, which names nothing
	return n
}
