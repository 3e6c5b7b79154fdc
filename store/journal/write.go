package journal

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"witnessmark/audit"
)

// Write makes the journal file at path, where there is none, of the entries 1 to last, which from hands to put in their order. A
// crash before the end leaves what one of Rebuild does.
func Write(path string, last uint64, from func(put func(audit.Entry) error) error) error {
	in, out := io.Pipe()
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		w := bufio.NewWriter(out)
		fmt.Fprintf(w, "%s %d\n", formatVersion, last) // an error stays in w
		err := from(func(e audit.Entry) error {
			body, err := audit.Encode(e.Event)
			if err != nil {
				return err
			}
			v := value(e.At, e.Event.Kind(), body)
			_, err = w.Write(append(binary.BigEndian.AppendUint32(nil, uint32(len(v))), v...))
			return err
		})
		out.CloseWithError(errors.Join(err, w.Flush()))
	}()
	_, err := Rebuild(path, in)
	in.CloseWithError(err)
	<-ended
	return err
}
