package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"
)

// Likeness is how near what was found is to what was asked for.
type Likeness string

// The likenesses, the nearest first.
const (
	AsWritten        Likeness = "as written"
	WrittenOtherwise Likeness = "written otherwise" // but for case, separators, O and 0, I and 1
	BeginsSo         Likeness = "begins so"
	OneSlip          Likeness = "one character is wrong, missing, too many, or two have changed places"
	HoldsIt          Likeness = "holds it"
	TwoSlips         Likeness = "two characters are wrong"
)

// Candidate is a build that a look-up may mean.
type Candidate struct {
	Build     uint64
	At        time.Time
	Engine    string
	WorkOrder string
	Unit      string
	Family    string
	Revision  string
	Field     string // engine, work order or unit: where it was found
	Likeness  Likeness
}

// findAtMost bounds what Find gives, and findMost how long a text it takes.
const (
	findAtMost  = 50
	findLongest = 80
	findBegins  = 3 // characters that a beginning needs; with fewer everything begins so
	findHolds   = 4
)

// fields are what a person may know of a build, as columns.
var fields = []struct{ column, name string }{{"engine", "engine"}, {"work_order", "work order"}, {"unit", "unit"}}

// Find looks for builds by an engine's serial number, a work order or a unit, and gives those of the nearest likeness that
// there is; none is no error. All but the last two likenesses are found by indexes, in the same time whatever the number of
// builds; those two go through every serial, and only where nothing nearer was found. A text that can be no serial is an error.
func (r *Reader) Find(ctx context.Context, text string) ([]Candidate, error) {
	text = strings.TrimSpace(text)
	if err := RefuseSerial(text); err != nil {
		return nil, err
	}
	plain := plainText(text)
	tries := []func() ([]Candidate, error){
		func() ([]Candidate, error) { return r.where(ctx, AsWritten, "b.%s = $2", text) },
		func() ([]Candidate, error) {
			return r.where(ctx, WrittenOtherwise, `witnessmark.plain(b.%s) COLLATE "C" = $2`, plain)
		},
		func() ([]Candidate, error) { return r.beginning(ctx, plain) },
		func() ([]Candidate, error) { return r.slipped(ctx, plain) },
		func() ([]Candidate, error) { return r.through(ctx, plain) },
	}
	for _, try := range tries {
		if found, err := try(); err != nil || len(found) > 0 {
			return found, err
		}
	}
	return nil, nil
}

// RefuseSerial keeps away what no label can say, and what PostgreSQL's text cannot hold.
func RefuseSerial(text string) error {
	switch {
	case text == "":
		return errors.New("nothing to look for: give a serial number, a unit, a work order or a VIN")
	case utf8.RuneCountInString(text) > findLongest:
		return fmt.Errorf("what is looked for has %d characters: a serial number, a unit or a work order has %d at most", utf8.RuneCountInString(text), findLongest)
	case !utf8.ValidString(text) || strings.ContainsFunc(text, func(c rune) bool { return c < ' ' || c == 0x7f }):
		return errors.New("what is looked for holds bytes that are no characters: type it again")
	}
	return nil
}

// where finds builds by a condition on each of the fields in turn.
func (r *Reader) where(ctx context.Context, how Likeness, condition string, args ...any) ([]Candidate, error) {
	var found []Candidate
	for _, f := range fields {
		sql := `SELECT b.seq, b.at, b.engine, b.work_order, b.unit, b.family, b.revision FROM witnessmark.build b
			WHERE b.shop = $1 AND b.refused = '' AND b.` + f.column + ` <> '' AND ` + fmt.Sprintf(condition, f.column) + fmt.Sprintf(` ORDER BY b.seq LIMIT %d`, findAtMost)
		rows, err := r.conn.Query(ctx, sql, append([]any{r.shop}, args...)...)
		if err != nil {
			return nil, fmt.Errorf("look for builds: %w", err)
		}
		part, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Candidate, error) {
			c := Candidate{Field: f.name, Likeness: how}
			err := row.Scan(&c.Build, &c.At, &c.Engine, &c.WorkOrder, &c.Unit, &c.Family, &c.Revision)
			return c, err
		})
		if err != nil {
			return nil, fmt.Errorf("look for builds: %w", err)
		}
		found = append(found, part...)
	}
	return found, nil
}

func (r *Reader) beginning(ctx context.Context, plain string) ([]Candidate, error) {
	if utf8.RuneCountInString(plain) < findBegins {
		return nil, nil
	}
	return r.where(ctx, BeginsSo, `witnessmark.plain(b.%[1]s) COLLATE "C" >= $2 AND witnessmark.plain(b.%[1]s) COLLATE "C" < $3`, plain, plain+string(utf8.MaxRune))
}

// slipped asks for every text that one slip makes of what was typed: some 40 a character, each one step down the index.
func (r *Reader) slipped(ctx context.Context, plain string) ([]Candidate, error) {
	if utf8.RuneCountInString(plain) < findHolds {
		return nil, nil
	}
	return r.where(ctx, OneSlip, `witnessmark.plain(b.%s) COLLATE "C" = ANY($2)`, slips(plain))
}

// through goes through what all builds are known by, once and here: the schema's function takes a microsecond for each.
func (r *Reader) through(ctx context.Context, plain string) ([]Candidate, error) {
	if utf8.RuneCountInString(plain) < findHolds {
		return nil, nil
	}
	rows, err := r.conn.Query(ctx, `SELECT engine, work_order, unit FROM witnessmark.build WHERE shop = $1 AND refused = ''`, r.shop)
	if err != nil {
		return nil, fmt.Errorf("look through all builds: %w", err)
	}
	var known [3]string
	var hold, like []string
	_, err = pgx.ForEachRow(rows, []any{&known[0], &known[1], &known[2]}, func() error {
		for _, k := range known {
			switch k = plainText(k); {
			case strings.Contains(k, plain):
				hold = keep(hold, k)
			case len(hold) == 0 && distance(k, plain, 2) <= 2:
				like = keep(like, k)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("look through all builds: %w", err)
	}
	if len(hold) > 0 {
		return r.where(ctx, HoldsIt, `witnessmark.plain(b.%s) COLLATE "C" = ANY($2)`, hold)
	}
	return r.where(ctx, TwoSlips, `witnessmark.plain(b.%s) COLLATE "C" = ANY($2)`, like)
}

// keep adds a text that is not there yet, while there is room.
func keep(list []string, text string) []string {
	if len(list) < findAtMost && !slices.Contains(list, text) {
		return append(list, text)
	}
	return list
}
