package main

import (
	"fmt"
	"io"
	"slices"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/whole"
	"witnessmark/store"
)

// drawOrder draws the newest attempt at a joint, a picture a stage, with the turns in which it was really done.
func drawOrder(file string, h *store.History, e *sheet.Engine, joint string) error {
	for i := len(e.Builds) - 1; i >= 0; i-- {
		b := &e.Builds[i]
		k := newest(b, joint)
		if k < 0 {
			continue
		}
		p, err := procedure.Parse(b.Family+" revision "+b.Revision, []byte(h.Builds[i].Procedure))
		if err != nil {
			return fmt.Errorf("read the procedure of build %d: %w", b.Build, err)
		}
		plan, ok := p.Joint(joint)
		if !ok {
			return fmt.Errorf("build %d has a joint %q that its procedure does not have: run witnessmark verify", b.Build, joint)
		}
		var pictures []drawing.Picture
		for stage, turns := range drawing.Turns(plan, b.Joints[k].States()) {
			pictures = append(pictures, drawing.Real(plan, stage, turns))
		}
		svg := drawing.Stacked(fmt.Sprintf("%s of engine %s, work order %s", plan.Title, e.Engine, b.WorkOrder), pictures)
		return whole.Write(file, true, func(w io.Writer) error { _, err := io.WriteString(w, svg); return err })
	}
	return inputError{fmt.Errorf("nothing is recorded of a joint %q of engine %s", joint, e.Engine)}
}

// newest is where the last attempt at a joint stands, -1: there is none.
func newest(b *sheet.Build, joint string) int {
	for k, j := range slices.Backward(b.Joints) {
		if j.Joint == joint {
			return k
		}
	}
	return -1
}
