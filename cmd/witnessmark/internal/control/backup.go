package control

import (
	"context"
	"errors"
	"io"
	"net/http"
)

// BackupDesk is the part of a Desk that hands out what only the daemon can read while it runs.
type BackupDesk interface {
	// CopyJournal writes the journal as it is at the call; see journal.ReadCopy.
	CopyJournal(context.Context, io.Writer) error
}

// SocketHandler serves what Handler does, and what is for the socket alone: the whole journal, in which names stand that
// were blanked elsewhere, and new passwords, for which nobody proves who they are.
func SocketHandler(d interface {
	Desk
	BackupDesk
	PasswordDesk
}) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", Handler(d))
	mux.HandleFunc("GET /api/v1/backup/journal", func(w http.ResponseWriter, r *http.Request) { copyJournal(w, r, d) })
	mux.HandleFunc("POST /api/v1/passwords", func(w http.ResponseWriter, r *http.Request) { givePassword(w, r, d) })
	return mux
}

func copyJournal(w http.ResponseWriter, r *http.Request, d BackupDesk) {
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Cache-Control", "no-store")
	if err := d.CopyJournal(r.Context(), w); err != nil {
		panic(http.ErrAbortHandler) // the reader sees that it ends too early; the desk has said why
	}
}

// CopyJournal writes the daemon's journal as it is at the call.
func (c *Client) CopyJournal(ctx context.Context, w io.Writer) error {
	resp, err := c.send(ctx, http.MethodGet, "backup/journal", nil)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, resp.Body)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("the daemon stopped in the middle of its journal: its log says why")
	}
	return errors.Join(err, resp.Body.Close())
}
