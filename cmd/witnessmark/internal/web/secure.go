package web

import (
	"errors"
	"io"
	"net/http"
	"strings"
	"time"
)

// policy lets a page load from this shop only, and no other site frame it.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; " +
	"base-uri 'none'; frame-ancestors 'none'"

// headers sets what every answer carries.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), usb=(), serial=()")
		if h.Get("Cache-Control") == "" {
			h.Set("Cache-Control", "no-store")
		}
		if r.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		body := r.Body
		next.ServeHTTP(w, r)
		if r.ContentLength != 0 {
			takeIn(w, body)
		}
	})
}

// takeIn reads what a refusal left on the line: who still sends when the connection closes loses the answer.
func takeIn(w http.ResponseWriter, body io.Reader) {
	if http.NewResponseController(w).SetReadDeadline(time.Now().Add(takenFor)) == nil {
		_, _ = io.CopyN(io.Discard, body, drained)
	}
}

// maxForm bounds a form in bytes.
const maxForm = 64 << 10

// drained is how much more is taken of what is too long, before the rest is left on the line, and takenFor how long.
const (
	drained  = 8 << 20
	takenFor = 5 * time.Second
)

// forPrograms is true of a request of the API.
func forPrograms(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }

// whole reads the form of a request, and says where it did not arrive. What a file holds stays in memory: at most so many
// bytes.
func (p *Pages) whole(w http.ResponseWriter, r *http.Request, most int64) bool {
	r.Body = http.MaxBytesReader(w, r.Body, most)
	err := r.ParseForm()
	if err == nil && strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/") {
		err = r.ParseMultipartForm(most)
	}
	var long *http.MaxBytesError
	switch {
	case errors.As(err, &long):
		p.fault(w, r, http.StatusRequestEntityTooLarge, en("refusal.this-is-longer-than-the-size-kb-that", "Size", most>>10))
	case err != nil:
		p.fault(w, r, http.StatusBadRequest, en("refusal.the-form-did-not-arrive-whole-send-it"))
	}
	return err == nil
}
