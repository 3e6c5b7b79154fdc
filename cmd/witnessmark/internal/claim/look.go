package claim

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// Question is what a person wants to know.
type Question struct {
	Text            string // serial number, unit, work order or VIN, or something like it
	Joint, Fastener string // of the story that is to be told; empty: none
	Until           time.Time
	Unit            unit.TorqueUnit // of torques; empty: as the wrench wrote them
}

// Wrong is a question that asks for what cannot be, or is not there.
type Wrong struct{ Sentence string }

func (w *Wrong) Error() string { return w.Sentence }

// enginesAtOnce is how many engines are told of at once; a unit may be a fleet's.
const enginesAtOnce = 10

// Look looks a claim up, and tells the builds of the engines found and the story that was asked for. A zero Until is now.
func Look(ctx context.Context, reader *store.Reader, q Question) (*Claim, error) {
	if err := store.RefuseSerial(q.Text); err != nil {
		return nil, &Wrong{err.Error()}
	}
	found, err := reader.Find(ctx, q.Text)
	if err != nil {
		return nil, err
	}
	c := New(q.Text, found)
	until := time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	if !q.Until.IsZero() {
		c.Known, until = &q.Until, q.Until
	}
	if !c.Sure() {
		return c, nil
	}
	return c, c.tell(ctx, reader, q, until)
}

func (c *Claim) tell(ctx context.Context, reader *store.Reader, q Question, until time.Time) error {
	engines := c.Engines()
	if len(engines) > enginesAtOnce {
		return fmt.Errorf("%s stands for %d engines or more: name one by its serial number, such as %s", q.Text, len(engines), strings.Join(engines[:5], ", "))
	}
	var joints []string
	for _, engine := range engines {
		h, err := reader.History(ctx, engine)
		if err != nil {
			return err
		}
		h.Until(until)
		e, err := sheet.Of(h, q.Unit)
		if err != nil {
			return err
		}
		c.Add(h, e)
		if q.Joint == "" {
			continue
		}
		joints = append(joints, jointsOf(e)...)
		c.Tell(h, e, q.Joint, q.Fastener)
		if err := c.stand(ctx, reader, h, until, q.Unit); err != nil {
			return err
		}
	}
	return c.refuseStory(q, slices.Compact(slices.Sorted(slices.Values(joints))))
}

// stand reads what a fastener's readings are held against.
func (c *Claim) stand(ctx context.Context, reader *store.Reader, h *store.History, until time.Time, in unit.TorqueUnit) error {
	if c.Story.Fastener == "" {
		return nil
	}
	among := map[store.Step]*store.Pulled{}
	for _, step := range c.Story.Steps() {
		p, err := reader.Pulled(ctx, step, until)
		if err != nil {
			return err
		}
		among[step] = p
	}
	c.Story.Stand(h, among, in)
	return nil
}

func jointsOf(e *sheet.Engine) []string {
	var out []string
	for _, b := range e.Builds {
		for _, j := range b.Joints {
			out = append(out, j.Joint)
		}
	}
	return out
}

// refuseStory says that there is no such joint or fastener.
func (c *Claim) refuseStory(q Question, joints []string) error {
	if q.Joint == "" {
		return nil
	}
	steps := 0
	for _, e := range c.Story.Engines {
		for _, b := range e.Builds {
			for _, j := range b.Joints {
				steps += len(j.Steps)
			}
		}
	}
	switch {
	case len(joints) == 0:
		return fmt.Errorf("no joint of %s was ever begun", q.Text)
	case steps == 0 && q.Fastener != "":
		return &Wrong{fmt.Sprintf("joint %s of %s has no fastener %s; the joints are: %s", q.Joint, q.Text, q.Fastener, strings.Join(joints, ", "))}
	case steps == 0:
		return &Wrong{fmt.Sprintf("%s has no joint %s; it has: %s", q.Text, q.Joint, strings.Join(joints, ", "))}
	}
	return nil
}
