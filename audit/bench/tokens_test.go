package bench_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
)

func TestShop_Tokens(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.RolesGiven{Person: "p1", Roles: []string{"administrator"}})
	f.must(audit.RolesGiven{Person: "p2", Roles: []string{"technician"}, By: "p1"})
	until := start.Add(24 * time.Hour)
	good := audit.TokenGiven{Token: "cell-4", Person: "p2", By: "p1", Expires: &until}
	refuses := func(rule, want string, ev audit.TokenGiven) {
		t.Helper()
		if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", rule, err, want)
		}
	}
	for rule, c := range map[string]struct {
		change func(*audit.TokenGiven)
		want   string
	}{
		"no name":             {func(e *audit.TokenGiven) { e.Token = " " }, "needs a name"},
		"by a technician":     {func(e *audit.TokenGiven) { e.By = "p2" }, "only an administrator"},
		"for nobody known":    {func(e *audit.TokenGiven) { e.Person = "p9" }, "has no role here"},
		"without a last day":  {func(e *audit.TokenGiven) { e.Expires = nil }, "needs a last day"},
		"taken, never given":  {func(e *audit.TokenGiven) { e.Person = "" }, "no token cell-4"},
		"for a person's self": {func(e *audit.TokenGiven) { e.By, e.Person = "p2", "p2" }, "only an administrator"},
	} {
		ev := good
		c.change(&ev)
		refuses(rule, c.want, ev)
	}
	f.must(good)
	refuses("twice", "there is a token cell-4 already", good)
	f.must(audit.TokenGiven{Token: "b", Person: "p2", By: "p1", Expires: &until})
	if got := f.shop.Tokens(); len(got) != 2 || got[0].Token != "b" || !reflect.DeepEqual(got[1], good) {
		t.Errorf("got %+v, want both by name", got)
	}
	f.must(audit.TokenGiven{Token: "b", By: "p2"}) // everybody may take back what acts as them
	if _, ok := f.shop.Token("b"); ok {
		t.Error("got a token that was taken back")
	}
	f.must(audit.PersonForgotten{Person: "p2", Reason: "ten years are over", By: "p1"})
	if got := f.shop.Tokens(); len(got) != 0 {
		t.Errorf("got %+v of a person whose name is blanked", got)
	}
}
