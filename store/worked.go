package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// Worked is a person's last doing on a build.
type Worked struct {
	Person    string // id
	Name      string
	Unit      string
	WorkOrder string
	Last      time.Time
}

// Worked lists who did something on which build, people whose name is blanked left out. Sorted by person.
func (r *Reader) Worked(ctx context.Context) ([]Worked, error) {
	rows, err := r.conn.Query(ctx, `WITH done (person, build, at) AS (
			SELECT person, seq, at FROM witnessmark.build WHERE shop = $1 AND refused = ''
			UNION ALL SELECT person, build, at FROM witnessmark.joint_start WHERE shop = $1 AND refused = ''
			UNION ALL SELECT c.person, s.build, c.at FROM witnessmark.joint_close c JOIN witnessmark.joint_start s ON s.shop = c.shop AND s.seq = c.run WHERE c.shop = $1 AND c.refused = ''
			UNION ALL SELECT a.person, s.build, a.at FROM witnessmark.check_answer a JOIN witnessmark.joint_start s ON s.shop = a.shop AND s.seq = a.run WHERE a.shop = $1 AND a.refused = ''
			UNION ALL SELECT n.person, s.build, n.at FROM witnessmark.fastener_named n JOIN witnessmark.joint_start s ON s.shop = n.shop AND s.seq = n.run WHERE n.shop = $1 AND n.refused = ''
			UNION ALL SELECT h.person, s.build, h.at FROM witnessmark.hand_over h JOIN witnessmark.joint_start s ON s.shop = h.shop AND s.seq = h.run WHERE h.shop = $1 AND h.refused = ''
			UNION ALL SELECT v.person, n.build, n.at FROM witnessmark.concession n CROSS JOIN LATERAL (VALUES (n.person), (n.seconded)) v (person) WHERE n.shop = $1 AND n.refused = ''
			UNION ALL SELECT person, build, at FROM witnessmark.correction WHERE shop = $1 AND refused = ''
			UNION ALL SELECT person, build, at FROM witnessmark.build_release WHERE shop = $1 AND refused = ''
			UNION ALL SELECT person, build, at FROM witnessmark.build_reopening WHERE shop = $1 AND refused = '')
		SELECT p.person, p.name, b.unit, b.work_order, max(d.at) FROM done d
		JOIN witnessmark.person p ON p.shop = $1 AND p.person = d.person AND p.refused = '' AND p.name <> ''
		JOIN witnessmark.build b ON b.shop = $1 AND b.seq = d.build
		GROUP BY p.person, p.name, b.seq, b.unit, b.work_order ORDER BY p.person, b.seq`, r.shop)
	if err != nil {
		return nil, fmt.Errorf("list who worked on what: %w", err)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Worked])
	if err != nil {
		return nil, fmt.Errorf("list who worked on what: %w", err)
	}
	return out, nil
}
