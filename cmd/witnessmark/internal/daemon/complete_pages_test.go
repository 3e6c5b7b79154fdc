package daemon

import (
	"fmt"
	"net/url"
	"testing"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// The pages of a build and of a claim are made from the record, which does not know what the bench doubts: they call a joint
// complete only while a release stands.
func TestPages_CompleteOnlyOnceItIsReleased(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	c := client(t, d)
	ada := newVisitor(t, d)
	ada.setUp("Ada Holt")
	b := onBench(t, c)
	for i := range int64(4) {
		w.pull(t, 30, 25+i)
	}
	if _, err := c.Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	for i := range int64(4) {
		w.pull(t, 60, 25+i)
	}
	if _, err := c.CloseJoint(t.Context(), "1", control.Close{Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	at := fmt.Sprintf("/builds/%d", b.ID)
	says := func(state string) {
		t.Helper()
		committed(t, d)
		ada.want(200, "✓ "+state+"<", "GET", at, nil)
		ada.want(200, "<td>✓ "+state+"</td>", "GET", "/claims?q=E-4711", nil)
	}
	says("every step done")
	_, body := ada.do("GET", at, nil)
	ada.want(303, "", "POST", at+"/release", url.Values{"reviewed": {field(t, body, "reviewed")}, "own_password": {password}})
	standing(t, d, b.ID, bench.Released)
	says("complete")
	ada.want(303, "", "POST", at+"/reopen", url.Values{"reason": {"the customer asks"}, "own_password": {password}})
	says("every step done")
}
