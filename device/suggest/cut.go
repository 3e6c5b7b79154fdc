package suggest

import (
	"bytes"
	"fmt"
	"time"

	"witnessmark/device"
	"witnessmark/device/sketch"
)

// sample is one frame of the capture, its ends included.
type sample struct {
	at    time.Duration
	bytes []byte
}

// cut is one way in which the stream may fall into frames.
type cut struct {
	frame   string // what stands behind "frame:" in the profile, but for the longest frame
	told    string // what was found, a sentence without its full stop
	unsure  []string
	start   []byte // begins every frame; empty: nothing does
	head    int    // bytes before the body: the start, and the length behind it
	end     []byte // ends every frame, but for the bytes after it; empty: nothing does
	after   int    // bytes of a check behind the end
	line    bool   // frames that end with CR or LF
	any     bool   // of lines: either of them
	gapped  bool   // frames that end by silence
	counted bool   // frames that say how long they are
	length  column // of those: the bytes that say it
	samples []sample
	next    finder // of forms whose start may stand inside a frame too; nil: there is no other way to cut
}

// finder finds the next frame in rest: it begins after skip bytes and has length bytes; length 0: there is none.
type finder func(rest []byte) (skip, length int)

// again cuts the streams anew and takes for frames only those whose check is right: one that is not may hide the beginning
// of one that is.
func (c *cut) again(all []stream, s seal) {
	if c.next == nil || s.none() {
		return
	}
	c.samples = split(all, func(rest []byte) (int, int) {
		for from := 0; ; {
			skip, length := c.next(rest[from:])
			if length == 0 || s.fit(rest[from+skip:from+skip+length]) {
				return from + skip, length
			}
			from += skip + 1
		}
	})
	c.samples = c.samples[:min(len(c.samples), mostFrames)]
}

// mostFrames bounds what a long capture can cost.
const mostFrames = 500

// cuts gives every way in which the streams may fall into at least so many frames, the likely ones first.
func cuts(all []stream, least int) (found []cut) {
	add := func(c cut) {
		c.head = max(c.head, len(c.start))
		if len(c.samples) >= least {
			c.samples = c.samples[:min(len(c.samples), mostFrames)]
			found = append(found, c)
		}
	}
	if c, ok := lines(all); ok {
		add(c)
	}
	for _, mark := range [][2]byte{{0x02, 0x03}, {0x01, 0x04}, {0x02, 0x04}, {0x01, 0x03}} {
		if c, ok := between(all, mark[0], mark[1], least); ok {
			add(c)
		}
	}
	for _, quiet := range silences(all) {
		bursts := burstsOf(all, quiet)
		if c, ok := ended(all, bursts); ok {
			add(c)
		}
		if c, ok := counted(all, bursts); ok {
			add(c)
		}
		if c, ok := fixed(all, bursts); ok {
			add(c)
		}
		add(gapped(bursts, quiet))
	}
	if c, ok := unbroken(all); ok {
		add(c)
	}
	return found
}

func burstsOf(all []stream, quiet silence) (bursts []sample) {
	for _, s := range all {
		bursts = append(bursts, s.bursts(quiet.between)...)
	}
	return bursts
}

// split cuts the streams. Frames that are longer than any may be are noise.
func split(all []stream, next finder) (samples []sample) {
	for _, s := range all {
		rest, at := s.bytes(), 0
		for {
			skip, length := next(rest)
			if length == 0 {
				break
			}
			if length <= device.MaxRaw {
				samples = append(samples, sample{s.at(at + skip), rest[skip : skip+length]})
			}
			rest, at = rest[skip+length:], at+skip+length
		}
	}
	return samples
}

// lines finds the ending of lines: the one that nearly all have.
func lines(all []stream) (cut, bool) {
	cr, lf, both := 0, 0, 0
	for _, s := range all {
		b := s.bytes()
		cr, lf, both = cr+bytes.Count(b, []byte("\r")), lf+bytes.Count(b, []byte("\n")), both+bytes.Count(b, []byte("\r\n"))
	}
	c := cut{line: true}
	switch {
	case both > 0 && both*5 >= 4*max(cr, lf):
		c.frame, c.end, c.told = "end: CRLF", []byte("\r\n"), "a frame is a line that ends with CR LF"
	case cr > 0 && lf == 0:
		c.frame, c.end, c.told = "end: CR", []byte("\r"), "a frame is a line that ends with CR alone"
	case lf > 0 && cr == 0:
		c.frame, c.end, c.told = "end: LF", []byte("\n"), "a frame is a line that ends with LF alone"
	case cr > 0:
		c.frame, c.any, c.told = "end: any", true, "a frame is a line; some end with CR and some with LF"
	default:
		return c, false
	}
	c.samples = split(all, func(rest []byte) (skip, length int) {
		for skip < len(rest) && (c.any && isEnd(rest[skip]) || !c.any && bytes.HasPrefix(rest[skip:], c.end)) {
			skip += max(len(c.end), 1)
		}
		if c.any {
			return skip, bytes.IndexAny(rest[skip:], "\r\n") + 1
		}
		return skip, ending(rest[skip:], c.end)
	})
	return c, true
}

func isEnd(b byte) bool { return b == '\r' || b == '\n' }

// ending is the length of what stands up to the end, the end included; 0: there is none.
func ending(rest, end []byte) int {
	if i := bytes.Index(rest, end); i >= 0 {
		return i + len(end)
	}
	return 0
}

// between finds frames from a start byte to an end byte, and how many bytes of a check follow.
func between(all []stream, start, end byte, least int) (cut, bool) {
	find := func(after int) []sample {
		return split(all, func(rest []byte) (skip, length int) {
			skip = bytes.IndexByte(rest, start)
			if skip < 0 {
				return 0, 0
			}
			stop := bytes.IndexByte(rest[skip:], end)
			if stop < 0 || skip+stop+1+after > len(rest) {
				return 0, 0
			}
			return skip, stop + 1 + after
		})
	}
	if len(find(0)) < least {
		return cut{}, false
	}
	after, sure := behind(all, start, end)
	if !sure {
		return cut{}, false
	}
	c := cut{start: []byte{start}, end: []byte{end}, after: after, samples: find(after)}
	c.frame = fmt.Sprintf("start: %s, end: %s", quoted([]byte{start}), quoted([]byte{end}))
	c.told = fmt.Sprintf("a frame begins with %s and ends with %s", sketch.Name(start), sketch.Name(end))
	if after > 0 {
		c.frame += fmt.Sprintf(", after: %d", after)
		c.told += fmt.Sprintf(" and %s behind it", count(after, "byte", "bytes"))
	}
	return c, true
}

// behind is how many bytes stand between the end of a frame and the start of the next: mostly the same, and few.
func behind(all []stream, start, end byte) (after int, sure bool) {
	seen, total := map[int]int{}, 0
	for _, s := range all {
		b := s.bytes()
		for i := 0; i < len(b); {
			stop := bytes.IndexByte(b[i:], end)
			if stop < 0 {
				break
			}
			i += stop + 1
			next := bytes.IndexByte(b[min(i, len(b)):], start)
			if next < 0 {
				next = len(b) - i
			}
			seen[next]++
			total++
			i += next
		}
	}
	for n := 0; n <= 8; n++ {
		if seen[n]*4 >= total*3 {
			return n, n <= 4 || n == 8
		}
	}
	return 0, false
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
