package bench

import "slices"

// Reply is what people answered to a check of the joint on a bench. The newest answer counts; the others stay in the record.
type Reply struct {
	Ask           // the check, to be answered again
	Said   string // the newest answer
	By     string // name of who gave it
	Good   bool   // it is what the check asks for
	Before []string
}

// Replies lists the checks of the joint on a bench that people have answered, in the order of their newest answers.
func (s *Shop) Replies(bench string) []Reply {
	r := s.runs[bench]
	if r == nil {
		return nil
	}
	var out []Reply
	for i := range r.answers {
		a := &r.answers[i]
		if a.seq <= r.renewed(a.Fastener) { // about a bolt that is no longer there
			continue
		}
		c := r.check(a.Check)
		reply := Reply{Ask: *asking(c, a.Fastener), Said: Answered(&a.CheckAnswered), By: s.PersonName(a.Person), Good: Accepted(c, &a.CheckAnswered)}
		if at := slices.IndexFunc(out, func(old Reply) bool { return old.Check == a.Check && old.Fastener == a.Fastener }); at >= 0 {
			reply.Before = append(out[at].Before, out[at].Said)
			out = slices.Delete(out, at, at+1)
		}
		out = append(out, reply)
	}
	return out
}
