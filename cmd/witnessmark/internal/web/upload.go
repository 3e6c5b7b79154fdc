package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"strings"

	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/strictyaml"
)

// maxUpload bounds a procedure in bytes, as control does, with room for the form around it.
const maxUpload = 5 << 20

// faultsView is what is wrong with a file, and its lines.
type faultsView struct {
	File   string
	Faults strictyaml.Faults
	Lines  []faultyLine
}

// faultyLine is a line with faults, and those around it.
type faultyLine struct {
	Number int
	Text   string
	Faults []string
	Gap    bool // lines before it are left out
}

// preview shows what a file says before it is added: its faults at their lines, or its drawings and order.
func (p *Pages) preview(w http.ResponseWriter, r *http.Request) {
	name, text, err := uploaded(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	plan, err := procedure.Parse(name, []byte(text))
	var faults strictyaml.Faults
	if errors.As(err, &faults) {
		p.showWith(w, r, http.StatusUnprocessableEntity, "faults", p.say(r, "title.faults", "File", name), faultsView{name, faults, faulty(text, faults)},
			p.say(r, "notice.faults", "File", name, "N", len(faults)))
		return
	}
	if err != nil {
		p.refused(w, r, err)
		return
	}
	all := p.revisions()
	rev := bench.ProcedureRev{Family: plan.Family, Revision: plan.Revision, Title: plan.Title, Text: text}
	v := procedureView{Rev: rev, Plan: plan, Drawn: p.words(r).drawn(plan), Others: others(all, &rev), File: name, Add: true}
	newest := ""
	p.Shop.Look(func(s *bench.Shop) { newest, _ = s.Newest(plan.Family) })
	v.hold(all, newest)
	p.show(w, r, http.StatusOK, "procedure", p.say(r, "title.preview", "Family", rev.Family, "Revision", rev.Revision), v)
}

// uploaded is the file of a form, or the text that a preview carried on. A browser's form changes the ends of lines.
func uploaded(r *http.Request) (name, text string, err error) {
	name, text = path.Base(r.FormValue("name")), r.FormValue("text")
	if r.MultipartForm != nil && len(r.MultipartForm.File["file"]) > 0 {
		file := r.MultipartForm.File["file"][0]
		name = path.Base(file.Filename)
		if text, err = contents(file); err != nil {
			return name, "", err
		}
	}
	return name, strings.ReplaceAll(text, "\r\n", "\n"), nil
}

func contents(h *multipart.FileHeader) (text string, err error) {
	f, err := h.Open()
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	b, err := io.ReadAll(f)
	return string(b), err
}

// faulty picks the lines with faults and a few around them.
func faulty(text string, faults strictyaml.Faults) (out []faultyLine) {
	said, near := map[int][]string{}, map[int]bool{}
	for _, f := range faults {
		said[f.Line] = append(said[f.Line], fmt.Sprintf("column %d: %s", f.Column, f.Message))
		for n := f.Line - around; n <= f.Line+around; n++ {
			near[n] = true
		}
	}
	last := 0
	for i, line := range strings.Split(text, "\n") {
		n := i + 1
		if !near[n] {
			continue
		}
		if len(line) > longestLine {
			line = line[:longestLine] + " …"
		}
		out = append(out, faultyLine{n, strings.ToValidUTF8(line, "\ufffd"), said[n], n > last+1})
		last = n
	}
	return out
}

// longestLine is how many bytes of a faulty line are shown.
const longestLine = 200

func (p *Pages) addProcedure(w http.ResponseWriter, r *http.Request) {
	name, text, err := uploaded(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	to := "/procedures"
	if plan, err := procedure.Parse(name, []byte(text)); err == nil {
		to += "/one?" + url.Values{"family": {plan.Family}, "revision": {plan.Revision}}.Encode()
	}
	p.proved(w, r, to, func(ctx context.Context, _ person) error {
		_, err := p.Shop.AddProcedure(ctx, control.NewProcedure{File: name, Text: text})
		return err
	})
}
