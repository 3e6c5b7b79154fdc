package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
)

// warmRuns is how often each look-up is repeated; the first one, which finds less in memory, is told by itself.
const warmRuns = 5

// timings of one kind of look-up, over all engines measured.
type timings struct {
	name              string
	cold, first, warm []time.Duration // cold: after the caches were emptied
	rows              int
}

func (t *timings) take(look func() (rows int, err error)) error {
	for i := range warmRuns {
		began := time.Now()
		rows, err := look()
		took := time.Since(began)
		if err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
		if t.rows += rows; i == 0 {
			t.first = append(t.first, took)
		} else {
			t.warm = append(t.warm, took)
		}
	}
	return nil
}

func median(list []time.Duration) time.Duration {
	slices.Sort(list)
	return list[len(list)/2]
}

// measure times look-ups of engines drawn from the database beside a plain SELECT of the same rows.
func (c *historyCommand) measure(ctx context.Context, to streams) (err error) {
	m := &measurement{shop: c.Shop, url: c.Database, empty: c.Cold}
	if err := m.open(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.close(ctx)) }()
	engines, err := c.engines(ctx, m.conn)
	if err != nil {
		return err
	}
	for _, e := range engines {
		if err := m.engine(ctx, e); err != nil {
			return err
		}
	}
	return m.print(to)
}

// engines draws some.
func (c *historyCommand) engines(ctx context.Context, conn *pgx.Conn) ([]string, error) {
	rows, err := conn.Query(ctx, `SELECT DISTINCT engine FROM witnessmark.build b WHERE shop = $1
		AND EXISTS (SELECT FROM witnessmark.joint_start s WHERE s.shop = b.shop AND s.build = b.seq) ORDER BY 1`, c.Shop)
	if err != nil {
		return nil, err
	}
	all, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("shop %s has no engines to measure on: fill it first", c.Shop)
	}
	rand.New(rand.NewPCG(c.Seed, 2)).Shuffle(len(all), func(i, k int) { all[i], all[k] = all[k], all[i] })
	return all[:min(c.Bench, len(all))], nil
}

// measurement collects the timings.
type measurement struct {
	shop, url string
	empty     string // command that empties the caches; empty: nothing is timed cold
	conn      *pgx.Conn
	reader    *store.Reader
	kinds     []*timings
}

func (m *measurement) open(ctx context.Context) (err error) {
	if m.conn, err = pgx.Connect(ctx, m.url); err != nil {
		return fmt.Errorf("connect to the database: %w", err)
	}
	if _, err := m.conn.Exec(ctx, "SET max_parallel_workers_per_gather = 0"); err != nil {
		return errors.Join(err, m.conn.Close(ctx))
	}
	if m.reader, err = store.OpenReader(ctx, m.url, m.shop); err != nil {
		return errors.Join(err, m.conn.Close(ctx))
	}
	return nil
}

func (m *measurement) close(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx)
	return errors.Join(m.reader.Close(), m.conn.Close(ctx))
}

// cold times a look-up once on empty caches. The connections are new, and have looked at the schema alone.
func (m *measurement) cold(ctx context.Context, t *timings, look func() (int, error)) error {
	if m.empty == "" {
		return nil
	}
	if err := m.close(ctx); err != nil {
		return err
	}
	if out, err := exec.CommandContext(ctx, "sh", "-c", m.empty).CombinedOutput(); err != nil {
		return fmt.Errorf("empty the caches: %w: %s", err, out)
	}
	if err := m.open(ctx); err != nil {
		return err
	}
	began := time.Now()
	_, err := look()
	t.cold = append(t.cold, time.Since(began))
	return err
}

// take times a look-up cold, if that is asked for, and then again and again.
func (m *measurement) take(ctx context.Context, name string, look func() (int, error)) error {
	t := m.kind(name)
	if err := m.cold(ctx, t, look); err != nil {
		return err
	}
	return t.take(look)
}

func (m *measurement) kind(name string) *timings {
	for _, t := range m.kinds {
		if t.name == name {
			return t
		}
	}
	t := &timings{name: name}
	m.kinds = append(m.kinds, t)
	return t
}

// engine measures everything on one engine.
func (m *measurement) engine(ctx context.Context, engine string) error {
	rows, err := m.conn.Query(ctx, `SELECT s.seq FROM witnessmark.joint_start s JOIN witnessmark.build b ON b.shop = s.shop AND b.seq = s.build
		WHERE b.shop = $1 AND b.engine = $2`, m.shop, engine)
	if err != nil {
		return err
	}
	runs, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		return err
	}
	var h *store.History
	history := func() (n int, err error) {
		h, err = m.reader.History(ctx, engine)
		return marks(h), err
	}
	typo := engine[:len(engine)-1] + "-" + strings.ToLower(engine[len(engine)-1:])
	for name, look := range map[string]func() (int, error){
		"1 plain SELECT":     func() (int, error) { return m.plain(ctx, runs) },
		"2 history":          history,
		"3 find by serial":   func() (int, error) { return m.find(ctx, engine) },
		"4 find, separators": func() (int, error) { return m.find(ctx, typo) },
		"5 find, one slip":   func() (int, error) { return m.find(ctx, engine+"X") },
		"6 find, two slips":  func() (int, error) { return m.find(ctx, "X"+engine+"X") },
		"7 find and history": func() (int, error) {
			if _, err := m.find(ctx, engine); err != nil {
				return 0, err
			}
			return history()
		},
	} {
		if err := m.take(ctx, name, look); err != nil {
			return err
		}
	}
	return m.take(ctx, "8 one step's readings", func() (int, error) { return m.pulled(ctx, h) })
}

func marks(h *store.History) (n int) {
	if h == nil {
		return 0
	}
	for _, b := range h.Builds {
		for _, r := range b.Runs {
			for _, rd := range r.Readings {
				n += len(rd.Marks)
			}
		}
	}
	return n
}

// plain reads the same rows as the history, each as it comes.
func (m *measurement) plain(ctx context.Context, runs []int64) (n int, err error) {
	rows, err := m.conn.Query(ctx, `SELECT d.*, m.* FROM witnessmark.mark m JOIN witnessmark.reading d ON d.shop = m.shop AND d.seq = m.reading
		WHERE m.shop = $1 AND m.run = ANY($2) ORDER BY m.reading, m.no`, m.shop, runs)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		if _, err := rows.Values(); err != nil {
			return n, err
		}
		n++
	}
	return n, rows.Err()
}

func (m *measurement) find(ctx context.Context, text string) (int, error) {
	found, err := m.reader.Find(ctx, text)
	return len(found), err
}

func (m *measurement) pulled(ctx context.Context, h *store.History) (int, error) {
	b := h.Builds[0]
	p, err := m.reader.Pulled(ctx, store.Step{Family: b.Family, Joint: "main-caps", Stage: "seat", Fastener: "7"}, time.Now())
	if err != nil {
		return 0, err
	}
	return len(p.Torques), nil
}

// coldly is the median of the cold look-ups, or that there are none.
func (t *timings) coldly() string {
	if len(t.cold) == 0 {
		return "–"
	}
	return median(t.cold).Round(10 * time.Microsecond).String()
}

func (m *measurement) print(to streams) error {
	slices.SortFunc(m.kinds, func(a, b *timings) int { return strings.Compare(a.name, b.name) })
	base := median(m.kinds[0].warm) // which sorts
	t := tabwriter.NewWriter(to.out, 2, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "look-up\trows\tcold\tfirst\twarm\ttimes the SELECT\tbest\t")
	for _, k := range m.kinds {
		warm := median(k.warm)
		fmt.Fprintf(t, "%s\t%d\t%s\t%v\t%v\t%.2f\t%v\t\n", k.name[2:], k.rows/warmRuns/len(k.first), k.coldly(), median(k.first).Round(10*time.Microsecond),
			warm.Round(10*time.Microsecond), float64(warm)/float64(base), k.warm[0].Round(10*time.Microsecond))
	}
	return t.Flush()
}
