package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/audit/recall"
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
	At      time.Time // by the clock as it was set
	Index   int64
	By      time.Duration
	AtLeast bool // it was set by more than that
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
