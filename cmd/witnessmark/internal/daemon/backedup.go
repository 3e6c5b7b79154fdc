package daemon

import (
	"io"
	"os"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/whole"
)

// NoteBackup writes down that a backup was taken at that time and read back whole. A crash leaves what was noted before. It is
// for the metrics only, and in no backup: a shop that was restored has to be backed up itself.
func (f Folder) NoteBackup(at time.Time) error {
	return whole.Write(f.in("last-backup"), true, func(w io.Writer) error {
		_, err := io.WriteString(w, at.UTC().Format(time.RFC3339)+"\n")
		return err
	})
}

// LastBackup is when the newest backup was taken; false: that is not known.
func (f Folder) LastBackup() (time.Time, bool) {
	text, err := os.ReadFile(f.in("last-backup"))
	if err != nil {
		return time.Time{}, false
	}
	at, err := time.Parse(time.RFC3339, strings.TrimSpace(string(text)))
	return at, err == nil
}
