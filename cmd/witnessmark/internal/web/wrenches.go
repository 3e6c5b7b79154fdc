package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/affected"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// wrenchRow is a wrench as it fares now.
type wrenchRow struct {
	control.Wrench
	Battery  *int64 // percent, as it said last; nil: it does not say
	Declared audit.WrenchDeclared
	Left     string // of its calibration, in words
	Mind     bool   // that is over
}

func (p *Pages) wrenchRows(r *http.Request) []wrenchRow {
	var out []wrenchRow
	now := p.Clock()
	for _, w := range p.Shop.Wrenches() {
		out = append(out, wrenchRow{Wrench: w})
	}
	p.Shop.Look(func(s *bench.Shop) {
		for i := range out {
			w := &out[i]
			w.Declared, _ = s.Wrench(w.ID)
			if last := s.LastReading(w.ID); last != nil {
				w.Battery = last.Battery
			}
			w.Left, w.Mind = p.words(r).left(w.Wrench, now)
		}
	})
	return out
}

// left says how much is left of a calibration.
func (l *words) left(w control.Wrench, now time.Time) (text string, over bool) {
	if w.Uncalibrated != "" {
		return w.Uncalibrated, true
	}
	var parts []string
	if w.Due != nil {
		parts = append(parts, l.say("wrench.days-left", "N", int(w.Due.Sub(now).Hours()/24)))
	}
	if w.Cycles > 0 {
		parts = append(parts, l.say("wrench.readings-left", "N", w.Cycles-w.Pulls))
	}
	return strings.Join(parts, ", "), false
}

func (p *Pages) wrenchesPage(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "wrenches", p.say(r, "menu.wrenches"), wrenchesView{p.wrenchRows(r), p.clock(r)})
}

// clock is what is to be known of the clock; empty: it is kept right.
func (p *Pages) clock(r *http.Request) string {
	switch right, why := p.Shop.KeptRight(); {
	case why != nil:
		return p.say(r, "wrenches.clock-not-known", "Why", why.Error())
	case !right:
		return p.say(r, "wrenches.clock-not-synchronised")
	}
	return ""
}

// wrenchesView is the page of all wrenches. The ends of their calibrations hang on the clock.
type wrenchesView struct {
	Rows  []wrenchRow
	Clock string // what is to be known of it; empty: it is kept right
}

// wrenchView is one wrench with its calibrations and what it has touched while it was in doubt.
type wrenchView struct {
	wrenchRow
	Away         string
	Certificates []certificate // the newest first
	Findings     []audit.CalibrationFound
	Affected     *affected.Wrench
	Judge, May   bool // who looks may see builds; may record how it was found
}

// certificate is a calibration as it was declared.
type certificate struct {
	audit.WrenchDeclared
	Since uint64 // entry from which on it holds
}

func (p *Pages) wrenchPage(w http.ResponseWriter, r *http.Request) {
	rows, id := p.wrenchRows(r), r.PathValue("wrench")
	i := slices.IndexFunc(rows, func(w wrenchRow) bool { return w.ID == id })
	if i < 0 {
		p.refused(w, r, control.Unknown(en("refusal.no-wrench-wrench-here-see-the-list", "Wrench", fmt.Sprintf("%.60q", id))))
		return
	}
	me := p.who(r)
	v := wrenchView{wrenchRow: rows[i], Judge: me.Can(audit.Lead) || me.Can(audit.Warranty), May: keeps(me)}
	var err error
	v.Away, err = p.read(r, func(ctx context.Context, reader *store.Reader) error { return v.readRecord(ctx, reader) })
	if err != nil {
		p.refused(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "wrench", p.say(r, "title.wrench", "Wrench", id), v)
}

func (v *wrenchView) readRecord(ctx context.Context, reader *store.Reader) error {
	declared, err := reader.Declared(ctx, v.ID)
	if err != nil {
		return err
	}
	for entry, d := range declared {
		v.Certificates = append(v.Certificates, certificate{d, entry})
	}
	slices.SortFunc(v.Certificates, func(a, b certificate) int { return int(b.Since) - int(a.Since) })
	if v.Findings, err = reader.Found(ctx, v.ID); err != nil {
		return err
	}
	v.Affected, err = affected.Look(ctx, reader, affected.Question{Wrench: v.ID})
	var unknown *affected.Unknown
	if errors.As(err, &unknown) { // it is declared with its first reading
		return nil
	}
	return err
}

func (p *Pages) wrenchFound(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("wrench")
	p.proved(w, r, "/wrenches/"+url.PathEscape(id), func(ctx context.Context, me person) error {
		on, err := time.Parse(time.DateOnly, r.FormValue("found"))
		if err != nil {
			return control.Malformed(en("refusal.say-on-which-day-it-was-calibrated-like"))
		}
		_, err = p.Shop.RecordFinding(ctx, control.Finding{Wrench: id, Certificate: fields(r.FormValue("certificate")), Found: on, Points: strings.TrimSpace(r.FormValue("points")),
			Good: r.FormValue("good") == "yes", Adjusted: r.FormValue("adjusted") == "yes", Person: me.Name})
		return err
	})
}

// reach is the range of a certificate in words; empty: it says none.
func reach(w audit.WrenchDeclared) string {
	if w.RangeLow == 0 && w.RangeHigh == 0 {
		return ""
	}
	return unit.Torque(w.RangeLow).String() + " … " + unit.Torque(w.RangeHigh).String()
}

// millionths is a share in percent; empty for none.
func millionths(n int64) string {
	if n == 0 {
		return ""
	}
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%04d", n/10_000, max(n, -n)%10_000), "0"), ".") + " %"
}
