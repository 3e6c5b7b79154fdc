package web

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/unit"
)

// readIn are the units that a person may choose to read torques in.
var readIn = []unit.TorqueUnit{unit.Nm, unit.LbfFt, unit.LbfIn, unit.KgfM}

// sessionUnit is the unit of whoever is signed in, as it was at the sign-in or chosen since: pages that come every moment
// do not ask the database for it.
const sessionUnit = "unit"

// unit is the unit in which a request reads torques.
func (p *Pages) unit(r *http.Request) unit.TorqueUnit {
	if u := unit.TorqueUnit(p.sessions.GetString(r.Context(), sessionUnit)); slices.Contains(readIn, u) {
		return u
	}
	return unit.Nm
}

// bring takes the unit of a person into their new session. While the database is away it is N·m.
func (p *Pages) bring(r *http.Request, person string) {
	name, err := p.Accounts.Unit(r.Context(), person)
	if err != nil {
		p.Log.Warn().Err(err).Msg("accounts cannot be read")
	}
	p.sessions.Put(r.Context(), sessionUnit, name)
}

// unitView is the choice of units.
type unitView struct {
	Units  []unit.TorqueUnit
	Chosen unit.TorqueUnit
}

func (p *Pages) unitPage(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "unit", p.say(r, "title.unit"), unitView{readIn, p.unit(r)})
}

func (p *Pages) chooseUnit(w http.ResponseWriter, r *http.Request) {
	u := unit.TorqueUnit(r.FormValue("unit"))
	if !slices.Contains(readIn, u) {
		p.refused(w, r, control.Malformed(en("refusal.no-such-unit-here-choose-one-of-the")))
		return
	}
	p.sessions.Put(r.Context(), sessionUnit, string(u))
	notice := p.say(r, "notice.unit", "Unit", u)
	if err := p.Accounts.ChooseUnit(r.Context(), p.who(r).ID, string(u)); err != nil {
		p.Log.Warn().Err(err).Msg("accounts cannot be written")
		notice = p.say(r, "notice.unit-for-now", "Unit", u)
	}
	p.sessions.Put(r.Context(), sessionNotice, notice)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// inText finds torques in a sentence: one, or a range with the unit behind its end.
var inText = regexp.MustCompile(`(-?\d+(?:\.\d+)?)(?: … (-?\d+(?:\.\d+)?))? ((?:[dcm]?N·m)|lbf·ft|lbf·in|ozf·in|kgf·m|kgf·cm|gf·cm)`)

// in writes the torques of a sentence in the person's unit, with one decimal more than they have where that is another one.
func (w *words) in(sentence any) string {
	text := fmt.Sprint(sentence)
	return inText.ReplaceAllStringFunc(text, func(found string) string {
		m := inText.FindStringSubmatch(found)
		from := unit.TorqueUnit(m[3])
		if from == w.unit {
			return found
		}
		out := convert(m[1], from, w.unit)
		if m[2] != "" {
			out += " … " + convert(m[2], from, w.unit)
		}
		return out + " " + string(w.unit)
	})
}

// convert leaves a number that is none of a torque as it is.
func convert(number string, from, to unit.TorqueUnit) string {
	t, err := unit.TorqueIn(number, from)
	if err != nil {
		return number
	}
	_, decimals, _ := strings.Cut(number, ".")
	return t.In(to, len(decimals)+1)
}
