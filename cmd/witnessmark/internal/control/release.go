package control

import (
	"context"
	"net/http"
	"strconv"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// Concede asks for a concession about a finding of a build's review.
type Concede struct {
	Finding string `json:"finding"`
	Reason  string `json:"reason"`
	Person  string `json:"person"`
	Second  string `json:"second,omitempty"` // name of the second person, where the joint is of class A
}

// Correct says after the fact where a reading belongs. An empty Fastener: none of its joint. Build and Joint are named for a
// reading that came with no joint on the bench alone.
type Correct struct {
	Reading  uint64 `json:"reading"`
	Build    uint64 `json:"build,omitempty"`
	Joint    string `json:"joint,omitempty"`
	Fastener string `json:"fastener"`
	Stage    string `json:"stage,omitempty"`
	Reason   string `json:"reason"`
	Person   string `json:"person"`
}

// Corrected is the build of a reading that was corrected, and the marks that this led to.
type Corrected struct {
	Build uint64       `json:"build"`
	Marks []audit.Mark `json:"marks"`
}

// Release asks to release a build. Reviewed is the entry up to which the person has looked at it; 0: up to now.
type Release struct {
	Reviewed uint64 `json:"reviewed,omitempty"`
	Person   string `json:"person"`
}

// Reopen asks to take a release back.
type Reopen struct {
	Reason string `json:"reason"`
	Person string `json:"person"`
}

// ReleaseDesk is the part of a Desk that releases builds. Each action gives the review as it stands after it.
type ReleaseDesk interface {
	Review(build uint64) (bench.Review, error)
	Concede(ctx context.Context, build uint64, c Concede) (bench.Review, error)
	Release(ctx context.Context, build uint64, r Release) (bench.Review, error)
	Reopen(ctx context.Context, build uint64, r Reopen) (bench.Review, error)
	Correct(context.Context, Correct) (Corrected, error)
}

func routeReleases(mux routes, d ReleaseDesk) {
	mux.HandleFunc("GET /api/v1/builds/{build}/review", func(w http.ResponseWriter, r *http.Request) {
		build, err := number(r)
		if err != nil {
			reply(w, nil, err)
			return
		}
		rv, err := d.Review(build)
		reply(w, rv, err)
	})
	mux.HandleFunc("POST /api/v1/builds/{build}/concessions", onBuild(d.Concede))
	mux.HandleFunc("POST /api/v1/builds/{build}/release", onBuild(d.Release))
	mux.HandleFunc("DELETE /api/v1/builds/{build}/release", onBuild(d.Reopen))
	mux.HandleFunc("POST /api/v1/corrections", func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in Correct) (any, error) { return d.Correct(r.Context(), in) })
	})
}

// onBuild serves an action on the build that the path names.
func onBuild[In any](do func(context.Context, uint64, In) (bench.Review, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		act(w, r, maxBody, func(in In) (any, error) {
			build, err := number(r)
			if err != nil {
				return nil, err
			}
			return do(r.Context(), build, in)
		})
	}
}

func number(r *http.Request) (uint64, error) {
	build, err := strconv.ParseUint(r.PathValue("build"), 10, 64)
	if err != nil {
		return 0, Unknown("no build " + r.PathValue("build") + ": builds have numbers")
	}
	return build, nil
}

// Review tells what stands between a build and its release.
func (c *Client) Review(ctx context.Context, build uint64) (rv bench.Review, err error) {
	return rv, c.call(ctx, http.MethodGet, ofBuild(build, "review"), nil, &rv)
}

// Concede accepts a finding.
func (c *Client) Concede(ctx context.Context, build uint64, in Concede) (rv bench.Review, err error) {
	return rv, c.call(ctx, http.MethodPost, ofBuild(build, "concessions"), in, &rv)
}

// Release signs a build.
func (c *Client) Release(ctx context.Context, build uint64, in Release) (rv bench.Review, err error) {
	return rv, c.call(ctx, http.MethodPost, ofBuild(build, "release"), in, &rv)
}

// Reopen takes a release back.
func (c *Client) Reopen(ctx context.Context, build uint64, in Reopen) (rv bench.Review, err error) {
	return rv, c.call(ctx, http.MethodDelete, ofBuild(build, "release"), in, &rv)
}

// Correct says where a reading belongs.
func (c *Client) Correct(ctx context.Context, in Correct) (out Corrected, err error) {
	return out, c.call(ctx, http.MethodPost, "corrections", in, &out)
}

func ofBuild(build uint64, what string) string {
	return "builds/" + strconv.FormatUint(build, 10) + "/" + what
}
