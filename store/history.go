package store

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/device/label"
)

// History is everything recorded of an engine, the oldest build first.
type History struct {
	Engine string
	Builds []BuildHistory
	// Calibrations are of those wrenches alone of which it was said how a calibration found them.
	Calibrations map[string]*recall.Record
}

// BuildHistory is one build with its joint runs. Procedure is the text of the revision that it was built by.
type BuildHistory struct {
	ID         uint64
	At         time.Time
	WorkOrder  string
	Unit       string
	Family     string
	Revision   string
	Technician string // empty: the name was blanked
	Procedure  string
	Runs       []RunHistory

	Concessions []ConcessionHistory
	Corrections []CorrectionHistory
	Releases    []ReleaseHistory
	Reopenings  []ReopeningHistory
}

// RunHistory is one run of a joint.
type RunHistory struct {
	ID         uint64
	Bench      string
	Joint      string
	Technician string
	Started    time.Time
	Closed     *time.Time // nil: still on the bench
	Afresh     bool       // begun anew after all was loosened
	Continues  uint64     // the run that it takes up again, 0: it began from slack
	Readings   []ReadingHistory
	Answers    []AnswerHistory
	Scans      []ScanHistory
	Renewals   []RenewalHistory
	Named      []NamedHistory
	Hands      []HandHistory
	Clock      []ClockHistory
}

// ReadingHistory is a reading with every mark that was made of it, the one in force last.
type ReadingHistory struct {
	Seq   uint64
	At    time.Time
	Index int64 // of its own leaf
	audit.ReadingTaken
	Marks []MarkHistory
}

// MarkHistory is a mark with its leaf.
type MarkHistory struct {
	Seq   uint64 // of the entry that led to it
	At    time.Time
	Index int64
	audit.Mark
}

// AnswerHistory is an answer to a check.
type AnswerHistory struct {
	At     time.Time
	Index  int64
	Person string // name; empty: blanked
	audit.CheckAnswered
}

// ScanHistory is the label of a fastener that was scanned for the reading after it.
type ScanHistory struct {
	At     time.Time
	Index  int64
	Person string // name; empty: blanked
	audit.LabelScanned
}

// ClockHistory is a step of the clock while the joint was on its bench.
type ClockHistory struct {
	At    time.Time // by the clock as it was set
	Index int64
	By    time.Duration
}

// HandHistory is a person into whose hands the joint came while it was on its bench, by a hand-over or by the scan of a badge.
type HandHistory struct {
	Seq    uint64
	At     time.Time
	Index  int64
	Run    uint64
	Person string // name; empty: blanked
}

// RenewalHistory is a new bolt that was fitted.
type RenewalHistory struct {
	Seq    uint64
	At     time.Time
	Index  int64
	Person string // name; empty: blanked
	audit.BoltReplaced
}

// InForce is the newest mark of each reading of the run, in the order of the readings.
func (r *RunHistory) InForce() []audit.Mark {
	var out []audit.Mark
	for _, rd := range r.Readings {
		if n := len(rd.Marks); n > 0 {
			out = append(out, rd.Marks[n-1].Mark)
		}
	}
	return out
}

// History reads everything of an engine. An engine that is not known is an error that names the ones most like it.
func (r *Reader) History(ctx context.Context, engine string) (*History, error) {
	h := &History{Engine: engine}
	rows, err := r.conn.Query(ctx, `SELECT b.seq, b.at, b.work_order, b.unit, b.family, b.revision, coalesce(p.name, ''), coalesce(q.text, '')
		FROM witnessmark.build b
		LEFT JOIN witnessmark.person p ON p.shop = b.shop AND p.person = b.person AND p.refused = ''
		LEFT JOIN witnessmark.procedure q ON q.shop = b.shop AND q.family = b.family AND q.revision = b.revision AND q.refused = ''
		WHERE b.shop = $1 AND b.engine = $2 AND b.refused = '' ORDER BY b.seq`, r.shop, engine)
	if err != nil {
		return nil, fmt.Errorf("read builds: %w", err)
	}
	h.Builds, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (b BuildHistory, err error) {
		err = row.Scan(&b.ID, &b.At, &b.WorkOrder, &b.Unit, &b.Family, &b.Revision, &b.Technician, &b.Procedure)
		return b, err
	})
	if err != nil {
		return nil, fmt.Errorf("read builds: %w", err)
	}
	if len(h.Builds) == 0 {
		return nil, r.unknown(ctx, engine)
	}
	if err := r.runs(ctx, h.Builds); err != nil {
		return nil, err
	}
	if err := r.signed(ctx, h.Builds); err != nil {
		return nil, err
	}
	return h, r.found(ctx, h)
}

func (r *Reader) unknown(ctx context.Context, engine string) error {
	found, err := r.Find(ctx, engine)
	if err != nil {
		return err
	}
	var like []string
	for _, c := range found {
		if !slices.Contains(like, c.Engine) {
			like = append(like, c.Engine)
		}
	}
	if len(like) == 0 {
		return fmt.Errorf("no engine %q in this shop: check the serial number", engine)
	}
	return fmt.Errorf("no engine %q in this shop; like it are: %s", engine, strings.Join(like[:min(len(like), 5)], ", "))
}

// runs reads what belongs to builds in one query a table: with a query a run, the round trips cost more than the rows.
func (r *Reader) runs(ctx context.Context, builds []BuildHistory) error {
	ids, at := make([]uint64, len(builds)), make(map[uint64]*BuildHistory, len(builds))
	for i := range builds {
		ids[i], at[builds[i].ID] = builds[i].ID, &builds[i]
	}
	rows, err := r.conn.Query(ctx, `SELECT s.build, s.seq, s.bench, s.joint, coalesce(p.name, ''), s.at, c.at, s.afresh, s.continues
		FROM witnessmark.joint_start s
		LEFT JOIN witnessmark.joint_close c ON c.shop = s.shop AND c.run = s.seq AND c.refused = ''
		LEFT JOIN witnessmark.person p ON p.shop = s.shop AND p.person = s.person AND p.refused = ''
		WHERE s.shop = $1 AND s.build = ANY($2) AND s.refused = '' ORDER BY s.seq`, r.shop, ids)
	if err != nil {
		return fmt.Errorf("read joints: %w", err)
	}
	var build uint64
	var run RunHistory
	_, err = pgx.ForEachRow(rows, []any{&build, &run.ID, &run.Bench, &run.Joint, &run.Technician, &run.Started, &run.Closed, &run.Afresh, &run.Continues}, func() error {
		at[build].Runs = append(at[build].Runs, run)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read joints: %w", err)
	}
	return r.fill(ctx, runsOf(builds))
}

// runSet is runs by their ids.
type runSet struct {
	ids []uint64
	at  map[uint64]*RunHistory
}

func runsOf(builds []BuildHistory) runSet {
	set := runSet{at: map[uint64]*RunHistory{}}
	for i := range builds {
		for j := range builds[i].Runs {
			run := &builds[i].Runs[j]
			set.ids, set.at[run.ID] = append(set.ids, run.ID), run
		}
	}
	return set
}

func (r *Reader) fill(ctx context.Context, runs runSet) error {
	for _, read := range []func(context.Context, runSet) error{r.readings, r.answers, r.scans, r.renewals, r.words, r.hands, r.clock} {
		if err := read(ctx, runs); err != nil {
			return err
		}
	}
	return nil
}

func (r *Reader) readings(ctx context.Context, runs runSet) error {
	rd, m := emptyRow(audit.ReadingTaken{}.Kind()), emptyRow(audit.Mark{}.Kind())
	sql := "SELECT " + qualified("d", rd.columns()) + ", " + qualified("m", m.columns()) + ` FROM witnessmark.mark m
		JOIN witnessmark.reading d ON d.shop = m.shop AND d.seq = m.reading
		WHERE m.shop = $1 AND m.run = ANY($2) ORDER BY m.reading, m.no`
	rows, err := r.conn.Query(ctx, sql, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		rd, m := emptyRow(rd.kind), emptyRow(m.kind)
		if err := rows.Scan(append(rd.targets(), m.targets()...)...); err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		runs.at[m.record.Interface().(audit.Mark).Run].add(rd, m)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	return r.adopted(ctx, runs)
}

// adopted reads what was said of readings before they came into a run: they came while no joint was on the bench.
func (r *Reader) adopted(ctx context.Context, runs runSet) error {
	at := map[uint64]*ReadingHistory{}
	for _, run := range runs.at {
		for i := range run.Readings {
			if rd := &run.Readings[i]; rd.Marks[0].No > 1 {
				at[rd.Seq] = rd
			}
		}
	}
	if len(at) == 0 {
		return nil
	}
	e := emptyRow(audit.Mark{}.Kind())
	rows, err := r.conn.Query(ctx, "SELECT "+qualified("m", e.columns())+` FROM witnessmark.mark m
		WHERE m.shop = $1 AND m.reading = ANY($2) AND m.run = 0 ORDER BY m.reading, m.no DESC`, r.shop, slices.Collect(maps.Keys(at)))
	if err != nil {
		return fmt.Errorf("read earlier marks: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		m := emptyRow(e.kind)
		if err := rows.Scan(m.targets()...); err != nil {
			return fmt.Errorf("read earlier marks: %w", err)
		}
		mark := m.record.Interface().(audit.Mark)
		at[mark.Reading].Marks = slices.Insert(at[mark.Reading].Marks, 0, MarkHistory{m.Seq, m.At, m.Index, mark})
	}
	return rows.Err()
}

func (run *RunHistory) add(rd, m row) {
	n := len(run.Readings)
	if n == 0 || run.Readings[n-1].Seq != rd.Seq {
		run.Readings = append(run.Readings, ReadingHistory{Seq: rd.Seq, At: rd.At, Index: rd.Index,
			ReadingTaken: rd.record.Interface().(audit.ReadingTaken)})
		n++
	}
	last := &run.Readings[n-1]
	last.Marks = append(last.Marks, MarkHistory{m.Seq, m.At, m.Index, m.record.Interface().(audit.Mark)})
}

func (r *Reader) answers(ctx context.Context, runs runSet) error {
	a := emptyRow(audit.CheckAnswered{}.Kind())
	sql := "SELECT " + qualified("a", a.columns()) + `, coalesce(p.name, '') FROM witnessmark.check_answer a
		LEFT JOIN witnessmark.person p ON p.shop = a.shop AND p.person = a.person AND p.refused = ''
		WHERE a.shop = $1 AND a.run = ANY($2) AND a.refused = '' ORDER BY a.seq`
	err := r.named(ctx, a.kind, sql, func(a row, name string) {
		c := a.record.Interface().(audit.CheckAnswered)
		runs.at[c.Run].Answers = append(runs.at[c.Run].Answers, AnswerHistory{a.At, a.Index, name, c})
	}, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read answers: %w", err)
	}
	return nil
}

func (r *Reader) scans(ctx context.Context, runs runSet) error {
	l := emptyRow(audit.LabelScanned{}.Kind())
	sql := "SELECT " + qualified("l", l.columns()) + `, coalesce(p.name, '') FROM witnessmark.scan l
		LEFT JOIN witnessmark.person p ON p.shop = l.shop AND p.person = l.person AND p.refused = ''
		WHERE l.shop = $1 AND l.run = ANY($2) AND l.run <> 0 AND l.label = $3 AND l.refused = '' ORDER BY l.seq`
	err := r.named(ctx, l.kind, sql, func(l row, name string) {
		s := l.record.Interface().(audit.LabelScanned)
		runs.at[s.Run].Scans = append(runs.at[s.Run].Scans, ScanHistory{l.At, l.Index, name, s})
	}, r.shop, runs.ids, label.Fastener)
	if err != nil {
		return fmt.Errorf("read scans: %w", err)
	}
	return nil
}

func (r *Reader) renewals(ctx context.Context, runs runSet) error {
	kind := audit.BoltReplaced{}.Kind()
	record := emptyRow(kind)
	sql := "SELECT " + qualified("b", record.columns()) + `, coalesce(p.name, '') FROM witnessmark.bolt_replaced b
		LEFT JOIN witnessmark.person p ON p.shop = b.shop AND p.person = b.person AND p.refused = ''
		WHERE b.shop = $1 AND b.run = ANY($2) AND b.refused = '' ORDER BY b.seq`
	err := r.named(ctx, kind, sql, func(b row, name string) {
		ev := b.record.Interface().(audit.BoltReplaced)
		runs.at[ev.Run].Renewals = append(runs.at[ev.Run].Renewals, RenewalHistory{b.Seq, b.At, b.Index, name, ev})
	}, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read renewals: %w", err)
	}
	return nil
}

func (r *Reader) hands(ctx context.Context, runs runSet) error {
	rows, err := r.conn.Query(ctx, `SELECT h.seq, h.at, h.ledger_index, h.run, coalesce(p.name, '') FROM (
			SELECT seq, at, ledger_index, run, person FROM witnessmark.hand_over WHERE shop = $1 AND run = ANY($2) AND refused = ''
			UNION ALL SELECT seq, at, ledger_index, run, person FROM witnessmark.scan
			WHERE shop = $1 AND run = ANY($2) AND run <> 0 AND label = $3 AND refused = '') h
		LEFT JOIN witnessmark.person p ON p.shop = $1 AND p.person = h.person AND p.refused = '' ORDER BY h.seq`, r.shop, runs.ids, label.Badge)
	if err != nil {
		return fmt.Errorf("read who took over: %w", err)
	}
	var h HandHistory
	_, err = pgx.ForEachRow(rows, []any{&h.Seq, &h.At, &h.Index, &h.Run, &h.Person}, func() error {
		runs.at[h.Run].Hands = append(runs.at[h.Run].Hands, h)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read who took over: %w", err)
	}
	return nil
}

func (r *Reader) clock(ctx context.Context, runs runSet) error {
	rows, err := r.conn.Query(ctx, `SELECT s.seq, k.at, k.ledger_index, k.by_ms FROM witnessmark.clock_set k
		JOIN witnessmark.joint_start s ON s.shop = k.shop AND s.seq < k.seq AND s.seq = ANY($2)
		LEFT JOIN witnessmark.joint_close c ON c.shop = s.shop AND c.run = s.seq AND c.refused = ''
		WHERE k.shop = $1 AND (c.seq IS NULL OR k.seq < c.seq) ORDER BY k.seq, s.seq`, r.shop, runs.ids)
	if err != nil {
		return fmt.Errorf("read steps of the clock: %w", err)
	}
	var run uint64
	var ms int64
	var k ClockHistory
	_, err = pgx.ForEachRow(rows, []any{&run, &k.At, &k.Index, &ms}, func() error {
		k.By = time.Duration(ms) * time.Millisecond
		runs.at[run].Clock = append(runs.at[run].Clock, k)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read steps of the clock: %w", err)
	}
	return nil
}

// named reads records of a kind, each with the name of a person behind it.
func (r *Reader) named(ctx context.Context, kind, sql string, each func(rec row, name string), args ...any) error {
	rows, err := r.conn.Query(ctx, sql, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		rec, name := emptyRow(kind), ""
		if err := rows.Scan(append(rec.targets(), &name)...); err != nil {
			return err
		}
		each(rec, name)
	}
	return rows.Err()
}

func qualified(alias string, columns []string) string {
	return alias + "." + strings.Join(columns, ", "+alias+".")
}
