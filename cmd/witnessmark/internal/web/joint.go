package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/chart"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/drawing"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device"
	"witnessmark/store"
)

// jointView is one joint of a build as it was done, a stage at a time.
type jointView struct {
	Build     control.Build
	Standing  bench.Standing
	Lead      bool
	Away      string
	Joint     *worked.Joint // nil where the record is away
	Stage     *worked.Stage
	Unit      string
	Done, All int
	Drawing   template.HTML // with the order in which it was really done
	Order     *sheet.StageOrder
	ByOrder   template.HTML
	ByAngle   template.HTML // empty: the wrench sent no angles
	Rows      []pullRow
	Stray     []pullRow
	Chosen    *pullRow // that is to be corrected
}

// pullRow is a reading in the table of a stage, or a step without one.
type pullRow struct {
	Fastener, Turn, Target  string // empty below the first reading of a step
	Of, Asked               string // fastener and target again, whatever row it is
	Good, Open              bool
	Angle, Verdict, Located string
	*worked.Pull            // nil: there was none
}

func (p *Pages) jointPage(w http.ResponseWriter, r *http.Request) {
	b, rv, err := p.buildOf(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	v := jointView{Build: b, Standing: rv.Standing, Lead: p.who(r).Can(audit.Lead), Unit: string(p.unit(r))}
	v.Away, err = p.read(r, func(ctx context.Context, reader *store.Reader) error {
		rec, err := recordOf(ctx, reader, b.ID, p.unit(r))
		if err == nil {
			v.Joint = runOf(rec.joints, r.PathValue("run"))
		}
		return err
	})
	switch {
	case err != nil:
	case v.Joint != nil:
		v.lay(p.words(r), r.URL.Query().Get("stage"), number(r, "reading"))
	case v.Away == "":
		err = control.Unknown(en("refusal.build-build-has-no-joint-that-was-begun", "Build", b.ID, "Run", fmt.Sprintf("%.40q", r.PathValue("run"))))
	}
	if err != nil {
		p.refused(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "joint", p.say(r, "title.engine", "Engine", b.Engine), v)
}

func runOf(joints []worked.Joint, run string) *worked.Joint {
	i := slices.IndexFunc(joints, func(j worked.Joint) bool { return j.Words != nil && strconv.FormatUint(j.Words.Run, 10) == run })
	if i < 0 {
		return nil
	}
	return &joints[i]
}

// lay lays out a stage, the first where it has none of that id.
func (v *jointView) lay(w *words, stage string, chosen uint64) {
	k := max(0, slices.IndexFunc(v.Joint.Stages, func(s worked.Stage) bool { return s.Plan.ID == stage }))
	v.Stage, v.Order = &v.Joint.Stages[k], &v.Joint.Words.Order[k]
	v.Done, v.All = v.Joint.Tally()
	v.Drawing = template.HTML(drawing.Real(v.Joint.Plan, k, v.Stage.Turns).Inline()) // escapes what it writes
	if len(v.Stage.Pulls) > 0 {
		v.ByOrder = template.HTML(chart.ByOrder(v.Stage, w.unit).SVG(w.say("joint.torque-by-the-order", "Stage", v.Stage.Plan.ID)))
		if c, ok := chart.ByAngle(v.Stage, w.unit); ok {
			v.ByAngle = template.HTML(c.SVG(w.say("joint.torque-over-the-angle", "Stage", v.Stage.Plan.ID)))
		}
	}
	for i := range v.Stage.Steps {
		v.Rows = append(v.Rows, w.rows(&v.Stage.Steps[i], v.Stage.Plan)...)
	}
	for i := range v.Joint.Stray {
		v.Stray = append(v.Stray, w.pulled(&v.Joint.Stray[i]))
	}
	for _, all := range [][]pullRow{v.Rows, v.Stray} {
		if i := slices.IndexFunc(all, func(r pullRow) bool { return r.Pull != nil && r.Words.Reading == chosen }); i >= 0 {
			v.Chosen = &all[i]
		}
	}
}

// rows is a step, a row a reading; one without any has a row all the same.
func (w *words) rows(s *worked.Step, plan *procedure.Stage) []pullRow {
	target := strings.TrimSpace(worked.Target(s.Figures, w.unit) + " " + (&worked.Stage{Plan: plan}).TargetUnit(w.unit))
	if len(s.Pulls) == 0 {
		return []pullRow{{Fastener: s.Turn.Fastener, Turn: w.turn(&s.Turn), Target: target, Open: true}}
	}
	out := make([]pullRow, len(s.Pulls))
	for i := range s.Pulls {
		out[i] = w.pulled(&s.Pulls[i])
		out[i].Of, out[i].Asked = s.Turn.Fastener, target
	}
	out[0].Fastener, out[0].Turn, out[0].Target = s.Turn.Fastener, w.turn(&s.Turn), target
	out[len(out)-1].Open = s.Turn.State == bench.Open
	return out
}

// turn says at which turn a fastener was done, and at which it was wanted where that is another.
func (w *words) turn(t *drawing.Turn) string {
	switch {
	case t.Real == 0:
		return "–" + w.say("joint.wanted", "Wanted", t.Wanted)
	case t.OutOfTurn:
		return fmt.Sprintf("♦ %d", t.Real) + w.say("joint.wanted", "Wanted", t.Wanted)
	case t.Real != t.Wanted:
		return fmt.Sprint(t.Real) + w.say("joint.wanted", "Wanted", t.Wanted)
	}
	return fmt.Sprint(t.Real)
}

// pulled is a row. What was said of its reading first is in the words of the build sheet, as it is there.
func (w *words) pulled(p *worked.Pull) pullRow {
	verdict := w.found(&p.Words) + worked.First(&p.Words, &p.Mark)
	return pullRow{Pull: p, Good: p.Good(), Angle: w.angle(&p.Words), Verdict: verdict, Located: w.located(&p.Mark)}
}

// found is the verdict with its flags.
func (w *words) found(m *sheet.Mark) string {
	text := w.word(m.Verdict)
	if m.Verdict != audit.Pass && m.Verdict != audit.NotJudged {
		text = "▲ " + text
	}
	var flags []string
	for _, f := range m.Flags {
		flags = append(flags, w.word(f))
	}
	if len(flags) > 0 {
		text += " [" + strings.Join(flags, ", ") + "]"
	}
	return text
}

// angle is the angle of a reading, or that there is none.
func (w *words) angle(m *sheet.Mark) string {
	back := m.Direction == string(device.Loosen)
	switch {
	case m.Angle == nil && back:
		return w.say("joint.back")
	case m.Angle == nil:
		return w.say("joint.no-angle")
	case back:
		return w.say("joint.degrees-back", "Angle", *m.Angle)
	}
	return string(*m.Angle) + "°"
}

// located is how the place is known, and how sure that is where it is presumed.
func (w *words) located(m *audit.Mark) string {
	switch m.LocatedBy {
	case "":
		return "–"
	case audit.ByOrder:
		return w.word(m.LocatedBy) + ", " + show.Percent(m.Confidence)
	}
	return w.word(m.LocatedBy)
}
