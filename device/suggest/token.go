package suggest

import (
	"regexp"
	"strings"

	"witnessmark/device/unit"
)

// token is a run of characters of one sort: n a number, w a word, c a clock, or a mark that stands for itself.
type token struct {
	sort     byte
	text     string
	from, to int
}

var (
	signedNumber = regexp.MustCompile(`^[-+]?[0-9]+(?:[.,][0-9]+)?`)
	plainNumber  = regexp.MustCompile(`^[0-9]+(?:[.,][0-9]+)?`)
	unitWord     = regexp.MustCompile(`^[A-Za-z]+[-.*][A-Za-z]+`)
	plainWord    = regexp.MustCompile(`^[A-Za-z]+`)
)

func tokensOf(body string) (tokens []token) {
	for at := 0; at < len(body); {
		if body[at] == ' ' {
			at++
			continue
		}
		sort, length := tokenAt(body, at)
		tokens = append(tokens, token{sort, body[at : at+length], at, at + length})
		at += length
	}
	return tokens
}

func tokenAt(body string, at int) (sort byte, length int) {
	rest := body[at:]
	if at == 0 || !alphanumeric(body[at-1]) {
		if n := clockAt(rest); n > 0 {
			return 'c', n
		}
		if m := signedNumber.FindString(rest); m != "" {
			return 'n', len(m)
		}
	}
	if m := plainNumber.FindString(rest); m != "" {
		return 'n', len(m)
	}
	if m := unitWord.FindString(rest); m != "" {
		if _, err := unit.ParseTorqueUnit(m); err == nil {
			return 'w', len(m)
		}
	}
	if m := plainWord.FindString(rest); m != "" {
		return 'w', len(m)
	}
	return rest[0], 1
}

// clockAt is the length of the date or time with which the text begins.
func clockAt(text string) int {
	for n := min(len(text), 20); n >= 5; n-- {
		if isClock(text[:n]) && (n == len(text) || text[n] < '0' || text[n] > '9') {
			return n
		}
	}
	return 0
}

// shape is the sorts of the tokens; a word at the beginning counts by its letters.
func shape(tokens []token) string {
	var b strings.Builder
	for i, t := range tokens {
		b.WriteByte(t.sort)
		if i == 0 && t.sort == 'w' {
			b.WriteString(t.text)
		}
	}
	return b.String()
}

// piecesOf numbers the pieces between blanks, for each token.
func piecesOf(tokens []token) []int {
	all := make([]int, len(tokens))
	for k := 1; k < len(tokens); k++ {
		all[k] = all[k-1]
		if tokens[k].from > tokens[k-1].to {
			all[k]++
		}
	}
	return all
}

// pieceKeys is how each piece is known again: by its sorts, and by the words in it that label what follows them.
func pieceKeys(tokens []token) (keys []string) {
	pieces := piecesOf(tokens)
	for k, t := range tokens {
		if pieces[k] == len(keys) {
			keys = append(keys, "")
		}
		keys[pieces[k]] += string(t.sort)
		if t.sort == 'w' && k+1 < len(tokens) && pieces[k+1] == pieces[k] {
			keys[pieces[k]] += t.text
		}
	}
	return keys
}

// withGaps finds the frame with the most pieces, and those that have the same pieces but for some that are missing.
func withGaps(bodies []string) (longest int, group []int) {
	all := make([][]string, len(bodies))
	for i, b := range bodies {
		if tokens := tokensOf(b); len(tokens) <= mostTokens {
			all[i] = pieceKeys(tokens)
		}
		if len(all[i]) > len(all[longest]) {
			longest = i
		}
	}
	for i, keys := range all {
		if _, ok := within(keys, all[longest]); ok && len(keys) > 1 && keys[0] == all[longest][0] {
			group = append(group, i)
		}
	}
	return longest, group
}

// within says where each key stands in the longer list, in the same order.
func within(keys, longer []string) (at []int, ok bool) {
	n := 0
	for _, k := range keys {
		for n < len(longer) && longer[n] != k {
			n++
		}
		if n == len(longer) {
			return nil, false
		}
		at = append(at, n)
		n++
	}
	return at, true
}
