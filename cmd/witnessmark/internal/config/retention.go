package config

import (
	"strconv"
	"strings"

	"witnessmark/device/strictyaml"
)

// Retention is how long a customer's builds name the people who worked on them. Builds that no rule covers do so for ever.
type Retention struct {
	Customer string
	Units    string // how the customer's units begin; empty: Orders tells
	Orders   string // how the work orders begin; empty: Units tells
	Years    int
}

// Covers tells whether a build is the customer's.
func (r Retention) Covers(unit, workOrder string) bool {
	return strings.HasPrefix(unit, r.Units) && strings.HasPrefix(workOrder, r.Orders)
}

func retentions(n strictyaml.Node) []Retention {
	var all []Retention
	items, _ := n.List()
	for _, item := range items {
		m := item.Map("customer", "units", "work_orders", "years")
		r := Retention{Customer: need(m, "customer", line), Units: maybe(m, "units", line), Orders: maybe(m, "work_orders", line), Years: need(m, "years", years)}
		if r.Units == "" && r.Orders == "" {
			item.Faultf("expected units or work_orders: how those of the customer begin")
		}
		all = append(all, r)
	}
	return all
}

func years(s string) (int, string) {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > 100 {
		return 0, "expected a number of years from 1 to 100"
	}
	return n, ""
}
