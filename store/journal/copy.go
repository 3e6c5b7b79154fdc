package journal

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// A copy is a line "witnessmark/journal/1 <last>\n", then for every entry from 1 to last the length of its value (4 bytes,
// big endian) and the value as it stands in the journal, with its own checksum.

// copyPiece is how many entries are read in one transaction of bbolt: while one is open the file cannot grow, and no reading
// would be acknowledged. The copy is of one moment all the same, because entries never change.
const copyPiece = 256

// maxValue bounds one entry of a copy in bytes; a procedure file is the longest.
const maxValue = 64 << 20

// Copy writes all entries that there are at the call, while others are appended, and gives the number of the last one. Every
// entry is read as Read reads it, so that a damaged one is not carried into a backup.
func (j *Journal) Copy(ctx context.Context, w io.Writer) (last uint64, err error) {
	last = j.Last()
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "%s %d\n", formatVersion, last) // an error stays in out
	for next := uint64(1); next <= last; next += copyPiece {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		values, err := j.values(next, min(last, next+copyPiece-1))
		if err != nil {
			return 0, fmt.Errorf("copy journal %s: %w", j.path, err)
		}
		for _, v := range values {
			_, err = out.Write(append(binary.BigEndian.AppendUint32(nil, uint32(len(v))), v...))
		}
		if err != nil {
			return 0, fmt.Errorf("write copy of the journal: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return 0, fmt.Errorf("write copy of the journal: %w", err)
	}
	return last, nil
}

// values are those of the entries from … to, both included.
func (j *Journal) values(from, to uint64) (out [][]byte, err error) {
	err = guard(func() error {
		return j.db.View(func(tx *bolt.Tx) error {
			if _, err := walk(tx.Bucket(entries).Cursor(), from, to); err != nil {
				return err
			}
			for seq := from; seq <= to; seq++ {
				out = append(out, append([]byte(nil), tx.Bucket(entries).Get(keyOf(seq))...))
			}
			return nil
		})
	})
	if errors.Is(err, bolterrors.ErrDatabaseNotOpen) {
		err = ErrClosed
	}
	return out, err
}

// ReadCopy hands out the entries of a copy one by one; it is refused where it is cut short, damaged or goes on after its last.
// The bytes are only good during the call. The number of the last entry is returned.
func ReadCopy(r io.Reader, each func(seq uint64, value []byte) error) (last uint64, err error) {
	in := bufio.NewReader(r)
	var version string
	if line, err := in.ReadString('\n'); err != nil {
		return 0, fmt.Errorf("read copy of a journal: %w", short(err))
	} else if _, err := fmt.Sscanf(line, "%s %d\n", &version, &last); err != nil || version != formatVersion {
		return 0, fmt.Errorf("this is no copy of a journal in the format %s", formatVersion)
	}
	var size [4]byte
	var v []byte
	for seq := uint64(1); seq <= last; seq++ {
		if _, err := io.ReadFull(in, size[:]); err != nil {
			return 0, fmt.Errorf("read entry %d of %d: %w", seq, last, short(err))
		}
		n := binary.BigEndian.Uint32(size[:])
		if n > maxValue {
			return 0, fmt.Errorf("read entry %d of %d: %w", seq, last, errDamaged)
		}
		v = append(v[:0], make([]byte, n)...)
		if _, err := io.ReadFull(in, v); err != nil {
			return 0, fmt.Errorf("read entry %d of %d: %w", seq, last, short(err))
		}
		if _, err := parse(seq, v); err != nil {
			return 0, fmt.Errorf("entry %d: %w", seq, err)
		}
		if err := each(seq, v); err != nil {
			return 0, err
		}
	}
	if _, err := in.ReadByte(); !errors.Is(err, io.EOF) {
		return 0, errors.Join(fmt.Errorf("the copy of the journal goes on after its last entry %d", last), err)
	}
	return last, nil
}

func short(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("the copy of the journal is cut short")
	}
	return err
}

// Rebuild makes the journal file at path, where there is none, from a copy, and returns the number of its last entry. A crash
// before the end leaves path+".new", which Open throws away, and no journal.
func Rebuild(path string, r io.Reader) (last uint64, err error) {
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		return 0, errors.Join(fmt.Errorf("the journal %s is there already", path), err)
	}
	fresh := path + ".new"
	if err := remove(fresh); err != nil {
		return 0, err
	}
	if err := fill(fresh); err != nil {
		return 0, errors.Join(err, remove(fresh))
	}
	if last, err = pour(fresh, r); err != nil {
		return 0, errors.Join(err, remove(fresh))
	}
	if err := os.Rename(fresh, path); err != nil {
		return 0, errors.Join(err, remove(fresh))
	}
	return last, syncFolder(filepath.Dir(path))
}

// pour puts the entries of a copy into an empty journal. Nobody needs it before it is whole, so it is synced once, at the end.
func pour(path string, r io.Reader) (last uint64, err error) {
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: lockWait, NoSync: true})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	tx, err := db.Begin(true)
	if err != nil {
		return 0, err
	}
	defer func() { _ = tx.Rollback() }() // after a commit it only says that there is nothing to do
	last, err = ReadCopy(r, func(seq uint64, v []byte) error {
		b := tx.Bucket(entries)
		b.FillPercent = 0.95
		if err := b.Put(keyOf(seq), append([]byte(nil), v...)); err != nil {
			return err
		}
		if seq%(16*maxBatch) != 0 {
			return nil
		}
		if err := tx.Commit(); err != nil {
			return err
		}
		tx, err = db.Begin(true)
		return err
	})
	if err != nil {
		return 0, err
	}
	if err := tx.Bucket(about).Put(newest, keyOf(last)); err != nil {
		return 0, err
	}
	if err := tx.Commit(); err != nil {
		return 0, err
	}
	return last, db.Sync()
}
