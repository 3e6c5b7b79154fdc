package evidence

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
	"witnessmark/device/capture"
)

func open(t failer, folder string, o Options) *Tape {
	t.Helper()
	tape, err := Open(folder, "TW-01", o)
	if err != nil {
		t.Fatal(err)
	}
	return tape
}

func end(t failer, tape *Tape) {
	t.Helper()
	if err := tape.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestTape_File(t *testing.T) {
	folder := t.TempDir()
	at := time.Date(2026, 1, 17, 10, 41, 7, 250_900_000, time.FixedZone("", 3600))
	tape := open(t, folder, Options{Profile: "semicolon-xor 1"})
	chunk := []byte("#1;")
	tape.Took(at, chunk)
	copy(chunk, "xxx") // a reader reads into the same memory again
	tape.Took(at.Add(12*time.Millisecond), []byte("45.2\r\n"))
	tape.Took(at.Add(13*time.Millisecond), nil)
	tape.Gone(at.Add(time.Minute))
	end(t, tape)
	want := `format: witnessmark/capture/1
made by: witnessmark, kept by the daemon as raw evidence
wrench: TW-01
profile: semicolon-xor 1
began: 2026-01-17T09:41:07.25Z

0     23 31 3b
12    34 35 2e 32 0d 0a
60000 gone
`
	if got := only(t, filepath.Join(folder, "TW-01")); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if _, err := os.Stat(filepath.Join(folder, "TW-01", "00000001-2026-01-17T09-41-07Z.capture")); err != nil {
		t.Error(err)
	}
}

// What came is on its way to the disk at once: nobody closes a Tape before he looks into it.
func TestTape_WrittenWithoutClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		folder := t.TempDir()
		tape := open(t, folder, Options{})
		defer end(t, tape)
		for _, came := range []string{"#1", "#1#2"} {
			tape.Took(time.Now(), []byte(came[len(came)-2:]))
			synctest.Wait() // without a timer going off
			tell(t, filepath.Join(folder, "TW-01")).is(t, []byte(came))
		}
	})
}

func TestOpen_Refused(t *testing.T) {
	for _, wrench := range []string{"", ".", "..", "a/b", "/a", "../a"} {
		if _, err := Open(t.TempDir(), wrench, Options{}); err == nil {
			t.Errorf("wrench %q: got no error, want one", wrench)
		}
	}
	if _, err := Open("/dev/null", "TW-01", Options{}); err == nil {
		t.Error("a folder that cannot be made: got no error, want one")
	}
}

// story is what a port gave.
type story struct {
	bytes []byte
	gone  []int
	times []time.Time // of chunks, none longer than longest
}

// Whatever comes, and whenever the daemon begins anew, the files one after another tell it, and each is whole and within
// its limit.
func TestTape_TellsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		folder, err := os.MkdirTemp("", "evidence")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(folder)
		o := Options{Limits: Limits{File: rapid.Int64Range(1, 2000).Draw(t, "size of a file"), Total: 1 << 30}}
		tape, at, came := open(t, folder, o), noon, story{}
		t.Repeat(map[string]func(*rapid.T){
			"took": func(t *rapid.T) {
				b := rapid.SliceOfN(rapid.ByteRange(0, missing-1), 1, 300).Draw(t, "bytes")
				tape.Took(at, b)
				came.bytes, came.times = append(came.bytes, b...), append(came.times, at)
			},
			"gone": func(*rapid.T) {
				tape.Gone(at)
				came.gone, came.times = append(came.gone, len(came.bytes)), append(came.times, at)
			},
			"time goes": func(t *rapid.T) {
				at = at.Add(time.Duration(rapid.SampledFrom([]int64{1, 5000, 100_000_000, -5000}).Draw(t, "ms")) * time.Millisecond)
			},
			"begin anew": func(*rapid.T) {
				end(t, tape)
				tape = open(t, folder, o)
			},
		})
		end(t, tape)
		got := tell(t, filepath.Join(folder, "TW-01"))
		got.is(t, came.bytes)
		if !reflect.DeepEqual(got.gone, came.gone) || !reflect.DeepEqual(got.times, came.times) || got.left != 0 || tape.LeftOut() != 0 {
			t.Fatalf("got gone %v at %v, %d left out, want %v at %v", got.gone, got.times, got.left, came.gone, came.times)
		}
		files, _ := filesIn(filepath.Join(folder, "TW-01"))
		for n, f := range files {
			if n := len(got.files[n].Chunks); n > 1 && f.size > o.Limits.File || n == 0 {
				t.Fatalf("%s: got %d bytes in %d chunks, want at most %d bytes", f.path, f.size, n, o.Limits.File)
			}
			if last := got.files[n].Chunks[len(got.files[n].Chunks)-1].At; last > day {
				t.Fatalf("%s: got a chunk after %v, want at most a day", f.path, last)
			}
		}
	})
}

// A clock that is set back a little is waited for, and one that is set back for good begins a file.
func TestTape_ClockSetBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		folder := t.TempDir()
		tape := open(t, folder, Options{})
		for _, ms := range []int64{0, 3000, 2100, 2000, 1999, 0} {
			tape.Took(noon.Add(time.Duration(ms)*time.Millisecond), []byte("5"))
			synctest.Wait() // one at a time, as from a wrench
		}
		end(t, tape)
		var got [][]int64
		for _, f := range tell(t, filepath.Join(folder, "TW-01")).files {
			var at []int64
			for _, c := range f.Chunks {
				at = append(at, c.At.Milliseconds())
			}
			got = append(got, at)
		}
		if want := [][]int64{{0, 3000, 3000, 3000}, {0}, {0}}; !reflect.DeepEqual(got, want) {
			t.Errorf("got chunks at %v, want %v", got, want)
		}
	})
}

func TestTape_LongChunk(t *testing.T) {
	folder := t.TempDir()
	tape := open(t, folder, Options{})
	came := bytes.Repeat([]byte("U"), 2*longest+1)
	tape.Took(noon, came)
	end(t, tape)
	got := tell(t, filepath.Join(folder, "TW-01"))
	if got.is(t, came); len(got.times) != 3 {
		t.Errorf("got %d chunks, want 3", len(got.times))
	}
}

// The oldest files go; what is not ours stays, and is no reason for more to go.
func TestTape_OldestRemoved(t *testing.T) {
	folder := t.TempDir()
	own := filepath.Join(folder, "TW-01")
	o := Options{Limits: Limits{File: 6000, Total: 5 * 8192}} // a full file takes two blocks
	if err := os.Mkdir(own, folderFor); err != nil {
		t.Fatal(err)
	}
	strange := []string{"notes.txt", "00000001.capture", "0001-old.capture", "00000001-2026", "zzzzzzzz-a.capture"}
	for _, name := range strange {
		if err := os.WriteFile(filepath.Join(own, name), make([]byte, 100_000), fileFor); err != nil {
			t.Fatal(err)
		}
	}
	tape := open(t, folder, o)
	var came []byte
	for n := range 4000 {
		b := fmt.Appendf(nil, "%06d", n)
		tape.Took(noon, b)
		came = append(came, b...)
	}
	end(t, tape)
	files, err := filesIn(own)
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != 5 {
		t.Errorf("got %d files, want 5", len(files))
	}
	for n, f := range files[1:] {
		if f.number != files[n].number+1 {
			t.Errorf("got file %d behind %d, want the next", f.number, files[n].number)
		}
	}
	got := tell(t, own)
	got.is(t, came[len(came)-len(got.bytes):])
	for _, name := range strange {
		if _, err := os.Stat(filepath.Join(own, name)); err != nil {
			t.Error(err)
		}
	}
}

// A daemon that begins anew again and again leaves many short files: these count as what they take of the disk.
func TestTape_ShortFilesCounted(t *testing.T) {
	folder := t.TempDir()
	o := Options{Limits: Limits{File: block, Total: 10 * block}}
	for range 30 {
		tape := open(t, folder, o)
		tape.Took(noon, []byte("#1"))
		end(t, tape)
	}
	if files, err := filesIn(filepath.Join(folder, "TW-01")); err != nil || len(files) != 10 || files[9].number != 30 {
		t.Errorf("got %v, %v, want the last 10 of 30", files, err)
	}
}

// The file before the one being written stays, however low the limit is.
func TestTape_OneBeforeStays(t *testing.T) {
	folder := t.TempDir()
	for range 3 {
		tape := open(t, folder, Options{Limits: Limits{Total: 1}})
		tape.Took(noon, []byte("#1"))
		end(t, tape)
	}
	if files, err := filesIn(filepath.Join(folder, "TW-01")); err != nil || len(files) != 2 {
		t.Errorf("got %v, %v, want two", files, err)
	}
}

func TestTape_FolderClearedUp(t *testing.T) {
	folder := t.TempDir()
	tape := open(t, folder, Options{})
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	tape.Took(noon, []byte("#1"))
	end(t, tape)
	tell(t, filepath.Join(folder, "TW-01")).is(t, []byte("#1"))
}

// A crash may tear the last line anywhere. The next daemon leaves it so and begins a file.
func TestTape_TornLine(t *testing.T) {
	folder := t.TempDir()
	own := filepath.Join(folder, "TW-01")
	tape := open(t, folder, Options{})
	tape.Took(noon, []byte("#1"))
	tape.Took(noon, []byte("#2"))
	end(t, tape)
	text := only(t, own)
	name := filepath.Join(own, "00000001-2026-01-17T12-00-00Z.capture")
	for cut := strings.LastIndex(text, "0 "); cut < len(text); cut++ {
		if err := os.WriteFile(name, []byte(text[:cut]), fileFor); err != nil {
			t.Fatal(err)
		}
		tape := open(t, folder, Options{})
		tape.Took(noon, []byte("#3"))
		end(t, tape)
		if torn, err := os.ReadFile(name); err != nil || string(torn) != text[:cut] {
			t.Fatalf("cut at %d: got %q, %v, want it left alone", cut, torn, err)
		}
		files, err := filesIn(own)
		if err != nil || len(files) != 2 {
			t.Fatalf("cut at %d: got %v, %v, want two", cut, files, err)
		}
		var came []byte
		for _, file := range files {
			f, err := os.Open(file.path)
			if err != nil {
				t.Fatal(err)
			}
			c, tear, err := capture.ReadTorn(f)
			if err := errors.Join(tear, err, f.Close()); err != nil {
				t.Fatalf("cut at %d: %v", cut, err)
			}
			for _, chunk := range c.Chunks {
				came = append(came, chunk.Bytes...)
			}
		}
		if string(came) != "#1#3" {
			t.Errorf("cut at %d: got %q, want #1#3", cut, came)
		}
		if err := os.Remove(files[1].path); err != nil {
			t.Fatal(err)
		}
	}
}

func TestTape_AfterClose(t *testing.T) {
	folder := t.TempDir()
	tape := open(t, folder, Options{})
	tape.Took(noon, []byte("#1"))
	end(t, tape)
	tape.Took(noon, []byte("#2"))
	tape.Gone(noon)
	end(t, tape)
	if got := tell(t, filepath.Join(folder, "TW-01")); string(got.bytes) != "#1" || got.gone != nil {
		t.Errorf("got %q, gone %v, want #1", got.bytes, got.gone)
	}
}

func TestBatch_LeftOut(t *testing.T) {
	for gones, want := range []string{
		"# left out: 70144 bytes: the disk was full or too slow\n",
		"# left out: 70144 bytes, and 1 time that the port went away: the disk was full or too slow\n",
		"# left out: 70144 bytes, and 2 times that the port went away: the disk was full or too slow\n",
	} {
		var b batch
		b.leaveOut(piece{at: noon, bytes: 70_000})
		for range gones {
			b.leaveOut(piece{at: noon, gone: true})
		}
		b.leaveOut(piece{at: noon, bytes: 144})
		if got := string(b.line(nil, 0)); got != want || len(b.pieces) != 1 {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// However much waits, it goes out in parts, so that the text of it stays small beside it.
func TestReel_InParts(t *testing.T) {
	var b batch
	for range 100 {
		b.add(piece{at: noon, bytes: longest}, make([]byte, longest))
	}
	r := reel{folder: t.TempDir(), wrench: "TW-01", limits: Limits{File: 1 << 30, Total: 1 << 30}}
	if err := r.write(&b); err != nil {
		t.Fatal(err)
	}
	if most := atOnce + 4*longest; len(r.text) > most || b.next == 0 {
		t.Errorf("got %d bytes of %d pieces, want at most %d", len(r.text), b.next, most)
	}
	if err := r.end(); err != nil {
		t.Error(err)
	}
}

// What the reader of a port pays: for bytes that there is room for, with nobody writing, and flat out against the
// writer, when most are left out.
func BenchmarkTook(b *testing.B) {
	for _, size := range []int{8, 64, 4096} {
		chunk := bytes.Repeat([]byte("5"), size)
		b.Run(fmt.Sprintf("%d bytes/room", size), func(b *testing.B) {
			tape := &Tape{limits: Limits{Waiting: 8 << 20}, wake: make(chan struct{}, 1)}
			b.ReportAllocs()
			for n := 0; b.Loop(); n++ {
				if n%1000 == 0 {
					tape.waiting = tape.waiting.emptied()
				}
				tape.Took(noon, chunk)
			}
		})
		b.Run(fmt.Sprintf("%d bytes/flat out", size), func(b *testing.B) {
			tape := open(b, b.TempDir(), Options{})
			b.ReportAllocs()
			for b.Loop() {
				tape.Took(noon, chunk)
			}
			b.ReportMetric(100*float64(tape.LeftOut())/float64(size)/float64(b.N), "%left-out")
			end(b, tape)
		})
	}
}
