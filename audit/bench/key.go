package bench

import (
	"errors"
	"strings"

	"witnessmark/audit"
)

// SigningKey is the verifier's text of the key that the last change brought in; empty: the first one signs still.
func (s *Shop) SigningKey() string { return s.signing }

func (s *Shop) refuseKey(ev audit.KeyChanged) error {
	name, _, whole := strings.Cut(ev.NewKey, "+")
	switch {
	case strings.TrimSpace(ev.Reason) == "":
		return errors.New("a change of the key needs a reason: give one")
	case !whole || !strings.HasPrefix(ev.OldKey, name+"+") || ev.NewKey == ev.OldKey:
		return errors.New("the new key must be another one of the same ledger: let the daemon make it")
	case s.signing != "" && ev.OldKey != s.signing:
		return errors.New("the key has been changed meanwhile: look which one signs now, and repeat if it must be changed again")
	}
	return nil
}
