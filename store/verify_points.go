package store

import (
	"bytes"
	"fmt"
)

// point is a checkpoint in the database.
type point struct {
	size       int64
	root, note []byte
}

// point goes on to the next checkpoint.
func (v *walk) point() error {
	p, err := v.points.next()
	if err != nil {
		return err
	}
	if p != nil && (p.size <= v.tree.Size() && v.found.Checkpoints > 0 || p.size < 1) {
		return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("a checkpoint of size %d out of place", p.size)}
	}
	v.next = p
	return nil
}

// check compares a checkpoint with the tree, which has just reached its size.
func (v *walk) check(p *point) error {
	root, err := v.tree.Root()
	if err != nil {
		return err
	}
	c, err := v.keys.open(p.note, p.size)
	if err != nil {
		return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("the one of size %d: %v", p.size, err)}
	}
	if c.Size != p.size || c.Root != root || !bytes.Equal(p.root, root[:]) {
		return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("the one of size %d does not fit the leaves", p.size)}
	}
	v.found.Checkpoints++
	v.signed = p.size
	return nil
}
