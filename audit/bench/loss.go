package bench

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
)

// Losses lists what was accepted as lost, the oldest first.
func (s *Shop) Losses() []audit.LossAccepted { return slices.Clone(s.losses) }

func (s *Shop) refuseLoss(ev audit.LossAccepted) error {
	switch {
	case strings.TrimSpace(ev.Reason) == "":
		return errors.New("a loss that is accepted needs a reason: say what happened")
	case s.Administered() && !s.Has(ev.Person, audit.Administrator):
		return errors.New("only an administrator accepts a loss: ask one")
	case ev.Remains < 0 || ev.Size <= ev.Remains || len(ev.Root) != sha256.Size || len(ev.RemainsRoot) != sha256.Size:
		return errors.New("a loss is between two sizes of the ledger: let the program find them")
	case slices.ContainsFunc(s.losses, func(l audit.LossAccepted) bool { return l.Size == ev.Size && bytes.Equal(l.Root, ev.Root) }):
		return fmt.Errorf("that loss was accepted before: %w", ErrAlready)
	}
	return nil
}
