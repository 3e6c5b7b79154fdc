package control

import (
	"context"
	"net/http"
)

// NewPassword asks to give a person a new password.
type NewPassword struct {
	Who      string `json:"who"` // the person's name
	Password string `json:"password"`
}

// PasswordGiven is whose password it is now.
type PasswordGiven struct {
	Person string `json:"person"` // the name
	Signs  bool   `json:"signs"`  // false: no role was given, so that the password opens nothing yet
}

// PasswordDesk is the part of a Desk that lets somebody in again whose password is lost.
type PasswordDesk interface {
	GivePassword(context.Context, NewPassword) (PasswordGiven, error)
}

func givePassword(w http.ResponseWriter, r *http.Request, d PasswordDesk) {
	act(w, r, maxBody, func(in NewPassword) (any, error) { return d.GivePassword(r.Context(), in) })
}

// GivePassword gives a person a new password.
func (c *Client) GivePassword(ctx context.Context, in NewPassword) (out PasswordGiven, err error) {
	return out, c.call(ctx, http.MethodPost, "passwords", in, &out)
}
