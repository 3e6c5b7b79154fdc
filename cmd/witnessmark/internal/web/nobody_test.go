package web

import (
	"testing"

	"github.com/alexedwards/argon2id"
)

// An unknown name must cost as much time as a wrong password, so what it is held against has to be a hash of the same making.
func TestNobody_IsHeldAgainstAHashLikeAnyOther(t *testing.T) {
	params, _, _, err := argon2id.DecodeHash(nobody)
	if err != nil || *params != *hashing {
		t.Fatalf("got %+v, %v, want %+v", params, err, hashing)
	}
	if same("", "") || same("nobody has this one", "") {
		t.Error("got an unknown name signed in")
	}
}
