package daemon

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"sync"
)

// shelf is the file in which the live shop puts away builds that nobody works on. What lies in it is made of the journal and
// is never missed: without the file, or the snapshot that it belongs to, a start makes both anew.
//
// A content is its length and its CRC-32C, 4 bytes big endian each, and then the bytes. They are only ever added,
// and synced before a snapshot names them: a crash leaves those of the newest snapshot, and maybe more, which the next start
// throws away and makes again.
type shelf struct {
	mu   sync.Mutex
	file *os.File
	end  int64
	lost func(error) // told when a content cannot be read
}

// errShelf is a content that cannot be read.
var errShelf = errors.New("what was put away cannot be read")

// shelfLost, deferred by whoever goes on with a shop outside of a request, makes an error of the panic of one that cannot read what
// was put away. That shop is of no use any more.
func shelfLost(err *error) {
	v := recover()
	if v == nil {
		return
	}
	lost, is := v.(error)
	if !is || !errors.Is(lost, errShelf) {
		panic(v)
	}
	*err = lost
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// openShelf opens the file with so many bytes of it, and throws away the rest.
func openShelf(path string, holds int64, lost func(error)) (*shelf, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := f.Truncate(holds); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &shelf{file: f, end: holds, lost: lost}, nil
}

// Put implements bench.Shelf. A disk that takes nothing is no reason to stop: the shop keeps it in memory.
func (s *shelf) Put(content []byte) (place int64, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	frame := binary.BigEndian.AppendUint32(make([]byte, 0, len(content)+8), uint32(len(content)))
	frame = binary.BigEndian.AppendUint32(frame, crc32.Checksum(content, castagnoli))
	if _, err := s.file.WriteAt(append(frame, content...), s.end); err != nil {
		return 0, false
	}
	place, s.end = s.end, s.end+int64(len(content))+8
	return place, true
}

// Get implements bench.Shelf.
func (s *shelf) Get(place int64) (content []byte, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("%w: %s at %d: %w", errShelf, s.file.Name(), place, err)
			s.lost(err)
		}
	}()
	var head [8]byte
	if _, err := s.file.ReadAt(head[:], place); err != nil {
		return nil, err
	}
	n := int64(binary.BigEndian.Uint32(head[:]))
	if place+8+n > s.size() {
		return nil, errors.New("its length is damaged")
	}
	content = make([]byte, n)
	if _, err := s.file.ReadAt(content, place+8); err != nil {
		return nil, err
	}
	if crc32.Checksum(content, castagnoli) != binary.BigEndian.Uint32(head[4:]) {
		return nil, errors.New("it is damaged")
	}
	return content, nil
}

func (s *shelf) size() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.end
}

// looked is the shelf for a shop that only looks.
type looked struct{ *shelf }

func (looked) Put([]byte) (int64, bool) { return 0, false }
