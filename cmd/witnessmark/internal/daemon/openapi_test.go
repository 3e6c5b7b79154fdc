package daemon

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
)

// document is the OpenAPI document as a daemon serves it (OpenAPI 3.1, whose schemas are JSON Schema 2020-12).
type document struct {
	t       *testing.T
	v       *visitor
	schemas *jsonschema.Compiler
	paths   map[string]map[string]operation
	tried   map[string]bool // method and path
}

type operation struct {
	Roles       []audit.Role `json:"x-roles"`
	Again       bool         `json:"x-own-password"`
	Security    *[]any
	RequestBody *content
	Responses   map[string]content
}

type content struct {
	Content map[string]struct{ Schema any }
}

const documentAt = "https://witnessmark.example/openapi.json"

func readDocument(t *testing.T, v *visitor) *document {
	t.Helper()
	text := v.wants(200, `"openapi"`, "GET", "/openapi.json", nil)
	whole, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	schemas := whole.(map[string]any)["components"].(map[string]any)["schemas"].(map[string]any)
	for _, s := range schemas { // a field that the document does not name is a fault
		s.(map[string]any)["additionalProperties"] = false
	}
	d := &document{t: t, v: v, schemas: jsonschema.NewCompiler(), tried: map[string]bool{}}
	d.schemas.AssertFormat()
	if err := d.schemas.AddResource(documentAt, whole); err != nil {
		t.Fatal(err)
	}
	var told struct {
		Paths map[string]map[string]json.RawMessage
	}
	if err := json.Unmarshal(text, &told); err != nil {
		t.Fatal(err)
	}
	d.paths = map[string]map[string]operation{}
	for path, item := range told.Paths {
		d.paths[path] = map[string]operation{}
		for method, raw := range item {
			var op operation
			if method == "parameters" {
				continue
			}
			if err := json.Unmarshal(raw, &op); err != nil {
				t.Fatal(err)
			}
			d.paths[path][strings.ToUpper(method)] = op
		}
	}
	return d
}

// holds tells whether a value fits the schema at a place of the document.
func (d *document) holds(value []byte, place ...string) error {
	for i, step := range place {
		place[i] = strings.NewReplacer("~", "~0", "/", "~1").Replace(step)
	}
	s, err := d.schemas.Compile(documentAt + "#/" + strings.Join(place, "/"))
	if err != nil {
		return err
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(value))
	if err != nil {
		return err
	}
	return s.Validate(v)
}

// try sends a request by a path of the document and holds request and answer to their schemas.
func (d *document) try(method, path string, in any, with ...string) []byte {
	d.t.Helper()
	d.tried[method+" "+path] = true
	at := []string{"paths", path, strings.ToLower(method)}
	if in != nil {
		text, err := json.Marshal(in)
		if err != nil {
			d.t.Fatal(err)
		}
		if err := d.holds(text, append(slices.Clone(at), "requestBody", "content", "application/json", "schema")...); err != nil {
			d.t.Errorf("%s %s: request %s: %v", method, path, text, err)
		}
	}
	status, body := d.v.ask(method, strings.NewReplacer(with...).Replace(path), in, web.OwnPassword, password)
	if status != 200 {
		d.t.Fatalf("%s %s: got %d %s", method, path, status, body)
	}
	if err := d.holds(body, append(at, "responses", "200", "content", "application/json", "schema")...); err != nil {
		d.t.Errorf("%s %s: answer %s: %v", method, path, body, err)
	}
	return body
}

// The document names every request that is served, with who may send it, and nothing else.
func TestOpenAPI_Routes(t *testing.T) {
	d := start(t, t.TempDir(), shopFile("tcp://127.0.0.1:1"))
	doc := readDocument(t, newVisitor(t, d))
	served := map[string]bool{}
	for _, a := range d.pages.Table() {
		method, path, _ := strings.Cut(a.Pattern, " ")
		path, ok := strings.CutPrefix(path, "/api/v1")
		if !ok {
			continue
		}
		served[a.Pattern] = true
		op, ok := doc.paths[path][method]
		if !ok || !slices.Equal(op.Roles, a.Roles) || op.Again != a.Again || (op.RequestBody != nil) != (method != "GET") {
			t.Errorf("%s: got %+v in the document, want %+v", a.Pattern, op, a)
		}
		if open := op.Security != nil && len(*op.Security) == 0; open != a.Open {
			t.Errorf("%s: got open %v in the document, want %v", a.Pattern, open, a.Open)
		}
	}
	for path, item := range doc.paths {
		for method := range item {
			if !served[method+" /api/v1"+path] {
				t.Errorf("%s %s stands in the document and is not served", method, path)
			}
		}
	}
	for _, pattern := range control.Patterns(d) {
		if !served[pattern] {
			t.Errorf("%s is served over the socket only: put it into the routes of package web, with who may have it, and into openapi.yaml", pattern)
		}
		delete(served, pattern)
	}
	for pattern := range served {
		t.Errorf("%s is in the routes of package web only", pattern)
	}
}

// Every request of the document is sent once to a real daemon; what goes out and what comes back fits the document.
func TestOpenAPI_Answers(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	v := newVisitor(t, d)
	v.setUp("Ada Holt")
	doc := readDocument(t, v)
	doc.try("POST", "/procedures", control.NewProcedure{File: "caps.yaml", Text: caps})
	var b control.Build
	if err := json.Unmarshal(doc.try("POST", "/builds", map[string]any{"engine": "E-1", "family": "TB-7", "work_order": "W-1"}), &b); err != nil {
		t.Fatal(err)
	}
	build, one := []string{"{build}", fmt.Sprint(b.ID)}, []string{"{id}", "1"}
	doc.try("POST", "/benches/{id}/joint", map[string]any{"build": b.ID, "joint": "caps"}, one...)
	doc.try("POST", "/benches/{id}/adapter", map[string]any{"adapter": "C-1", "wrench_length": "400 mm", "extension": "50 mm", "angle": "90°"}, one...)
	doc.try("DELETE", "/benches/{id}/adapter", map[string]any{}, one...)
	w.pull(t, 30, 40)
	w.pull(t, 22, 40)
	doc.try("POST", "/benches/{id}/names", map[string]any{"fastener": "2"}, one...)
	for range 3 {
		w.pull(t, 30, 40)
	}
	doc.try("GET", "/benches/{id}", nil, one...)
	doc.try("POST", "/benches/{id}/answers", map[string]any{"check": "end-float", "yes": false, "value": "0.12 mm"}, one...)
	doc.try("POST", "/benches/{id}/renewals", map[string]any{"fasteners": []string{"3"}, "reason": "stretched"}, one...)
	w.pull(t, 30, 40)
	doc.try("POST", "/benches/{id}/hand", map[string]any{}, one...)
	doc.watch(one)
	doc.try("DELETE", "/benches/{id}/joint", map[string]any{}, one...)
	reading := lastReading(t, d)
	doc.try("POST", "/corrections", map[string]any{"reading": reading, "fastener": "", "reason": "a test on the block"})
	rv, err := d.Review(b.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rv.Blocking() {
		doc.try("POST", "/builds/{build}/concessions", map[string]any{"finding": f.ID, "reason": "seen"}, build...)
	}
	committed(t, d)
	doc.try("POST", "/builds/{build}/release", map[string]any{}, build...)
	doc.try("GET", "/builds/{build}/review", nil, build...)
	doc.try("DELETE", "/builds/{build}/release", map[string]any{"reason": "asked"}, build...)
	doc.try("POST", "/findings", map[string]any{"wrench": "TW-01", "certificate": "K-2", "found": epoch, "points": "2.5 %@40 N·m", "good": false})
	doc.try("POST", "/badges", map[string]any{"badge": "B-7", "to": "Bo Lind"})
	doc.try("POST", "/forgotten", map[string]any{"who": "Bo Lind", "reason": "its time is over"})
	doc.try("POST", "/ledger/key", map[string]any{"reason": "a year is over"})
	doc.try("POST", "/tokens", map[string]any{"token": "cell-4", "for": "Ada Holt", "days": 1})
	for _, path := range []string{"/status", "/procedures", "/builds", "/benches", "/wrenches", "/scanners", "/badges", "/tokens"} {
		doc.try("GET", path, nil)
	}
	doc.try("DELETE", "/tokens/{token}", map[string]any{}, "{token}", "cell-4")
	for path, item := range doc.paths {
		for method := range item {
			if !doc.tried[method+" "+path] && !strings.HasPrefix(path, "/openapi.") {
				t.Errorf("%s %s was not tried", method, path)
			}
		}
	}
	status, refusal := v.ask("GET", "/builds/99/review", nil)
	if err := doc.holds(refusal, "components", "schemas", "Error"); status != 404 || err != nil {
		t.Errorf("got %d %s, %v", status, refusal, err)
	}
}

// watch holds the first event of a watch to its schema.
func (d *document) watch(with []string) {
	d.t.Helper()
	const path = "/benches/{id}/watch"
	d.tried["GET "+path] = true
	req, err := http.NewRequestWithContext(d.t.Context(), "GET", "http://"+d.v.d.Addr()+"/api/v1"+strings.NewReplacer(with...).Replace(path), nil)
	if err != nil {
		d.t.Fatal(err)
	}
	resp, err := d.v.http.Do(req)
	if err != nil {
		d.t.Fatal(err)
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	for lines.Scan() {
		if body, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
			if err := d.holds([]byte(body), "paths", path, "get", "responses", "200", "content", "text/event-stream", "schema"); err != nil {
				d.t.Errorf("got %s: %v", body, err)
			}
			return
		}
	}
	d.t.Errorf("got no event: %v", lines.Err())
}

// lastReading is the number of the newest reading.
func lastReading(t *testing.T, d *Daemon) uint64 {
	t.Helper()
	entries, err := d.journal.Read(1, int(d.journal.Last()))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range slices.Backward(entries) {
		if _, is := e.Event.(audit.ReadingTaken); is {
			return e.Seq
		}
	}
	t.Fatal("no reading yet")
	return 0
}
