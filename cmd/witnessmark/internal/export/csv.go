package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"witnessmark/device/unit"
	"witnessmark/store"
)

// Rows hands out lines one at a time, as store.Reader.Readings does.
type Rows func(each func(*store.Line) error) error

// CSV writes the table after RFC 4180, in UTF-8, with the decimal point and torques in a unit, and gives the number of
// readings. after is told how many are written, after each.
func CSV(w io.Writer, rows Rows, u unit.TorqueUnit, after func(int64)) (int64, error) {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(Heads(u)); err != nil {
		return 0, fmt.Errorf("write CSV: %w", err)
	}
	columns := columnsIn(u)
	n, record := int64(0), make([]string, len(columns))
	err := rows(func(l *store.Line) error {
		for i, c := range columns {
			record[i] = plain(c.of(l))
		}
		if err := out.Write(record); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
		n++
		after(n)
		return nil
	})
	if err != nil {
		return n, err
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return n, fmt.Errorf("write CSV: %w", err)
	}
	return n, nil
}

// plain is a cell as text.
func plain(cell any) string {
	switch c := cell.(type) {
	case string:
		return harmless(c)
	case decimal:
		return string(c)
	case int64:
		return strconv.FormatInt(c, 10)
	case time.Time:
		return moment(c)
	}
	return ""
}
