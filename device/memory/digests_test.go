package memory

import (
	"math/rand/v2"
	"testing"
)

// What lies in a ring of Depth is found as by going through all of it, also after places were used again, and where many
// digests end in the same bits.
func TestDigests_AsByGoingThrough(t *testing.T) {
	for name, one := range map[string]func(*rand.Rand) uint64{
		"of all kinds":              func(r *rand.Rand) uint64 { return r.Uint64N(3 * Depth) },
		"with few different ends":   func(r *rand.Rand) uint64 { return r.Uint64N(3*Depth)<<20 | r.Uint64N(3) },
		"seldom one of another end": func(r *rand.Rand) uint64 { return r.Uint64N(3*Depth) << (r.Uint64N(500) / 499 * 20) },
	} {
		t.Run(name, func(t *testing.T) {
			rnd := rand.New(rand.NewPCG(7, 7))
			var d digests
			var came []uint64
			found := 0
			for n := range 3 * Depth {
				came = append(came, one(rnd))
				d.put(n%Depth, came[n])
				if n%100 != 0 {
					continue
				}
				asked, among := one(rnd), 1+rnd.IntN(min(n+1, Depth))
				want := false
				for _, c := range came[n+1-among:] {
					want = want || c == asked
				}
				if got := d.hold(asked, n%Depth, among); got != want {
					t.Fatalf("digest %x among the newest %d of %d: got %v, want %v", asked, among, n+1, got, want)
				}
				if want {
					found++
				}
			}
			if found < 10 || found > 290 {
				t.Errorf("got %d of 300 found: the test has tried too little", found)
			}
		})
	}
}
