package control

import (
	"context"
	"net/http"
	"net/url"
	"time"
)

// Token is a token by which a machine acts as a person.
type Token struct {
	Token   string    `json:"token"` // its name
	Person  string    `json:"person"`
	Expires time.Time `json:"expires"`
	Secret  string    `json:"secret,omitempty"` // what the machine sends; said once, when it is given
}

// NewToken asks for a token.
type NewToken struct {
	Token  string `json:"token"`
	For    string `json:"for"`            // name of the person as whom it acts
	Days   int    `json:"days,omitempty"` // 0: TokenDays
	Person string `json:"person"`
}

// TokenDays is for how long a token is where nothing is said, and MostTokenDays for how long at the most.
const (
	TokenDays     = 90
	MostTokenDays = 400
)

// TakeToken asks to take a token back.
type TakeToken struct {
	Person string `json:"person"`
}

// TokenDesk is the part of a Desk that gives tokens.
type TokenDesk interface {
	Tokens() []Token
	GiveToken(context.Context, NewToken) (Token, error)
	TakeToken(ctx context.Context, token string, in TakeToken) (Token, error)
}

func routeTokens(mux routes, d TokenDesk) {
	mux.Handle("GET /api/v1/tokens", list(d.Tokens))
	mux.HandleFunc("POST /api/v1/tokens", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in NewToken) (any, error) { return d.GiveToken(r.Context(), in) })
	})
	mux.HandleFunc("DELETE /api/v1/tokens/{token}", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in TakeToken) (any, error) { return d.TakeToken(r.Context(), r.PathValue("token"), in) })
	})
}

// Tokens lists the tokens.
func (c *Client) Tokens(ctx context.Context) (t []Token, err error) {
	return t, c.call(ctx, http.MethodGet, "tokens", nil, &t)
}

// GiveToken gives a token.
func (c *Client) GiveToken(ctx context.Context, in NewToken) (t Token, err error) {
	return t, c.call(ctx, http.MethodPost, "tokens", in, &t)
}

// TakeToken takes a token back.
func (c *Client) TakeToken(ctx context.Context, token string, in TakeToken) (t Token, err error) {
	return t, c.call(ctx, http.MethodDelete, "tokens/"+url.PathEscape(token), in, &t)
}
