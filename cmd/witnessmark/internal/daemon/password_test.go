package daemon

import (
	"context"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/control"
)

// noPasswords leaves a database as one that was filled from the journal alone.
func noPasswords(t *testing.T, d *Daemon) {
	t.Helper()
	address, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if tag, err := conn.Exec(t.Context(), "DELETE FROM witnessmark.account"); err != nil || tag.RowsAffected() == 0 {
		t.Fatalf("got %v, %v, want the accounts gone", tag, err)
	}
}

func TestGivePassword(t *testing.T) {
	_, port := newWrench(t)
	var log strings.Builder
	d := made(t, t.TempDir(), shopFile(port), &log)
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	c := client(t, d)
	refused := func(who, password, says string) {
		t.Helper()
		if _, err := c.GivePassword(t.Context(), control.NewPassword{Who: who, Password: password}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: got %v, want %q", who, err, says)
		}
	}
	const other, third = "nine blue ladders sang", "a kettle under the quay"
	refused("Ada Holt", other, "set it up on its pages")
	ada, bo := newVisitor(t, d), newVisitor(t, d)
	ada.setUp("Ada Holt")
	ada.employ("Bo Lind", "technician")
	bo.signIn("Bo Lind")
	noPasswords(t, d)
	newVisitor(t, d).want(303, "", "GET", "/set-up", nil) // nobody comes in by the set-up code any more
	newVisitor(t, d).want(401, "do not belong together", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {password}})

	refused("Eve Stone", other, `nobody is called "Eve Stone" in this shop: write the name as it stands in the record; administrators are: Ada Holt`)
	refused("Ada Holt", "too short", "has 12 characters or more")
	ada.want(200, "Ada Holt", "GET", "/people", nil) // what was refused ended nothing
	given, err := c.GivePassword(t.Context(), control.NewPassword{Who: " Ada  Holt ", Password: other})
	if want := (control.PasswordGiven{Person: "Ada Holt", Signs: true}); err != nil || given != want {
		t.Fatalf("got %+v, %v, want %+v", given, err, want)
	}
	ada.want(303, "", "GET", "/people", nil)
	ada.want(401, "do not belong together", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {password}})
	ada.want(303, "", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {other}})
	ada.want(200, "Ada Holt", "GET", "/people", nil)
	bo.want(200, "Bo Lind", "GET", "/bench/1", nil) // a colleague stays

	if _, err := d.Known(t.Context(), "Cy Marsh"); err != nil {
		t.Fatal(err)
	}
	given, err = c.GivePassword(t.Context(), control.NewPassword{Who: "Cy Marsh", Password: third})
	if err != nil || given.Signs {
		t.Errorf("got %+v, %v, want it said that a person without a role cannot sign in", given, err)
	}
	if resp, body := ada.do("POST", "/api/v1/passwords", nil); resp.StatusCode < 400 {
		t.Errorf("got %d, %q over the network, want it not served there", resp.StatusCode, body)
	}
	stopDaemon(t, d)
	for _, name := range []string{"Ada Holt", "Cy Marsh"} {
		if want := fmt.Sprintf(`"person":%q,`, name); strings.Count(log.String(), want) != 1 {
			t.Errorf("got %s, want the log to name %s once", log.String(), name)
		}
	}
	for _, secret := range []string{password, other, third} {
		if strings.Contains(log.String(), secret) {
			t.Errorf("the log holds the password %q", secret)
		}
	}
}
