package export

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"witnessmark/device/unit"
	"witnessmark/store"
)

// The limits of the format (ECMA-376): rows of a sheet and characters of a cell.
const (
	rowsOfSheet = excelize.TotalRows
	cellLetters = excelize.TotalCellChars
)

// book is a workbook that is written row by row. Where a sheet is full, another one goes on.
type book struct {
	file    *excelize.File
	stream  *excelize.StreamWriter
	row     int // written in this sheet
	most    int // rows of a sheet
	sheets  int
	head    int // style of the heads
	time    int // style of a time
	columns []column
	cells   []any
}

// XLSX writes the table as a workbook with typed cells, torques in a unit, and gives the number of readings. after is told how
// many are written, after each. What does not fit in memory waits in a file of the system's folder for such.
func XLSX(w io.Writer, rows Rows, u unit.TorqueUnit, after func(int64)) (int64, error) {
	return xlsx(w, rows, u, after, rowsOfSheet)
}

func xlsx(w io.Writer, rows Rows, u unit.TorqueUnit, after func(int64), most int) (n int64, err error) {
	columns := columnsIn(u)
	b := &book{file: excelize.NewFile(), most: most, columns: columns, cells: make([]any, len(columns))}
	defer func() { err = errors.Join(err, b.file.Close()) }()
	if err := b.styles(); err != nil {
		return 0, err
	}
	if err := b.turn(); err != nil {
		return 0, err
	}
	err = rows(func(l *store.Line) error {
		if err := b.line(l); err != nil {
			return err
		}
		n++
		after(n)
		return nil
	})
	if err != nil {
		return n, err
	}
	if err := b.stream.Flush(); err != nil {
		return n, fmt.Errorf("write xlsx: %w", err)
	}
	return n, b.zip(w)
}

// zip writes the workbook straight to w. Left to itself the library makes the whole file in memory first.
func (b *book) zip(w io.Writer) error {
	b.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(w) })
	if _, err := b.file.WriteToBuffer(); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	return nil
}

func (b *book) styles() (err error) {
	format := "yyyy-mm-dd hh:mm:ss.000"
	if b.time, err = b.file.NewStyle(&excelize.Style{CustomNumFmt: &format}); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	if b.head, err = b.file.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}}); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	return nil
}

// turn ends the sheet and begins the next with its heads.
func (b *book) turn() error {
	if b.stream != nil {
		if err := b.stream.Flush(); err != nil {
			return fmt.Errorf("write xlsx: %w", err)
		}
	}
	b.sheets++
	name := "Readings"
	if b.sheets == 1 {
		if err := b.file.SetSheetName("Sheet1", name); err != nil {
			return fmt.Errorf("write xlsx: %w", err)
		}
	} else {
		name = fmt.Sprintf("Readings %d", b.sheets)
		if _, err := b.file.NewSheet(name); err != nil {
			return fmt.Errorf("write xlsx: %w", err)
		}
	}
	var err error
	if b.stream, err = b.file.NewStreamWriter(name); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	b.row = 0
	return b.heads()
}

func (b *book) heads() error {
	err := errors.Join(b.stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}),
		b.stream.SetColWidth(1, len(b.columns), 16), b.stream.SetColWidth(2, 2, 24))
	if err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	for i, c := range b.columns {
		b.cells[i] = excelize.Cell{StyleID: b.head, Value: c.head}
	}
	return b.write()
}

func (b *book) line(l *store.Line) error {
	if b.row == b.most {
		if err := b.turn(); err != nil {
			return err
		}
	}
	for i, c := range b.columns {
		b.cells[i] = b.cell(c.of(l))
	}
	return b.write()
}

func (b *book) write() error {
	b.row++
	if err := b.stream.SetRow("A"+strconv.Itoa(b.row), b.cells); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	return nil
}

// cell is what the library makes a typed cell of.
func (b *book) cell(value any) any {
	switch v := value.(type) {
	case string:
		if v == "" {
			return nil
		}
		return cut(harmless(v))
	case decimal:
		f, err := strconv.ParseFloat(string(v), 64)
		if err != nil { // it is decimal digits, always
			panic(err)
		}
		return f
	case time.Time:
		return excelize.Cell{StyleID: b.time, Value: v}
	}
	return value
}

// cut keeps a text within what a cell can hold, and says so.
func cut(text string) string {
	const said = " … (cut: a cell holds no more)"
	if utf8.RuneCountInString(text) <= cellLetters {
		return text
	}
	return string([]rune(text)[:cellLetters-utf8.RuneCountInString(said)]) + said
}
