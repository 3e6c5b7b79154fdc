package memory

// digests are those of one kind, by their place in the ring, and where each lies: the places of those that end in the same
// bits are a chain from the newest to the oldest. A chain is never cut: where what lay at a place was overwritten, and so all that
// is older, it may go on into another chain, which holds nothing that is looked for, and it is over where a place comes that is not
// older than the one before it.
type digests struct {
	all   []uint64
	older []uint16         // by place: 1 + the place of the next in the chain, 0: there is none
	heads *[1 << 12]uint16 // by the last bits: 1 + the place of the newest, 0: there is none
}

// put lays a digest at a place of the ring: behind all others, or over the oldest one once there are Depth.
func (d *digests) put(place int, one uint64) {
	if d.heads == nil {
		d.heads = new([1 << 12]uint16)
	}
	if place == len(d.all) {
		d.all, d.older = longer(d.all), longer(d.older)
	}
	head := &d.heads[one%uint64(len(d.heads))]
	d.all[place], d.older[place] = one, *head
	*head = uint16(place) + 1
}

// longer is one longer, and has no more room than for Depth.
func longer[T any](s []T) []T {
	if len(s) == cap(s) {
		s = append(make([]T, 0, min(2*len(s)+64, Depth)), s...)
	}
	return s[:len(s)+1]
}

// hold tells whether a digest is among the newest so many, of which the last one lies at a place.
func (d *digests) hold(one uint64, newest, among int) bool {
	if d.heads == nil {
		return false
	}
	age := -1
	for next := d.heads[one%uint64(len(d.heads))]; next != 0; {
		place := int(next) - 1
		was := age
		if age = (newest - place + Depth) % Depth; age <= was || age >= among {
			return false
		}
		if d.all[place] == one {
			return true
		}
		next = d.older[place]
	}
	return false
}
