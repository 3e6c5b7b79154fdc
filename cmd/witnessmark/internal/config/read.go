package config

import (
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"witnessmark/audit"
	"witnessmark/device/profile"
	"witnessmark/device/strictyaml"
)

// reader turns the nodes of one document into a Config; faults gather in the document.
type reader struct {
	doc  *strictyaml.Doc
	path string
}

func (r reader) config(root strictyaml.Node) Config {
	c := Config{Database: Private, Listen: Listen}
	m := root.Map("format", "shop", "data", "database", "listen", "tls", "plain_http", "oidc", "witness", "evidence", "benches", "classes", "wrenches", "scanners", "retention")
	if n, ok := m.Need("format"); ok {
		if s, ok := n.Text(); ok && s != Format {
			n.Faultf("found format %q, expected %q", s, Format)
		}
	}
	if n, ok := m.Need("shop"); ok {
		sm := n.Map("id", "name")
		c.Shop.ID = need(sm, "id", ident)
		c.Shop.Name = need(sm, "name", line)
	}
	c.Data = r.beside(maybe(m, "data", line))
	if s := maybe(m, "database", database); s != "" {
		c.Database = s
	}
	if s := maybe(m, "listen", address); s != "" {
		c.Listen = s
	}
	if n, ok := m.Get("tls"); ok {
		tm := n.Map("certificate", "key")
		c.Certificate, c.Key = r.beside(need(tm, "certificate", line)), r.beside(need(tm, "key", line))
	}
	if n, ok := m.Get("plain_http"); ok {
		c.PlainHTTP = accepted(n)
	}
	c.Witness = r.beside(maybe(m, "witness", line))
	if n, ok := m.Get("oidc"); ok {
		c.OIDC = r.oidc(n)
	}
	c.Evidence = maybe(m, "evidence", size)
	var known []class
	if n, ok := m.Get("classes"); ok {
		known = classes(n)
	}
	if n, ok := m.Need("wrenches"); ok {
		c.Wrenches = r.wrenches(n, known)
	}
	if n, ok := m.Need("benches"); ok {
		c.Benches = r.benches(n, c.Wrenches)
	}
	if n, ok := m.Get("scanners"); ok {
		c.Scanners = r.scanners(n, &c)
	}
	if n, ok := m.Get("retention"); ok {
		c.Retention = retentions(n)
	}
	return c
}

// plainHTTP is what a shop must say to have its pages served unencrypted beyond the machine itself.
const plainHTTP = "passwords may be read on this network"

func accepted(n strictyaml.Node) bool {
	s, ok := n.Text()
	if ok && s != plainHTTP {
		n.Faultf("found %q, expected the words: %s", s, plainHTTP)
	}
	return ok && s == plainHTTP
}

func (r reader) wrenches(n strictyaml.Node, known []class) []Wrench {
	var all []Wrench
	ids, taken := map[string]bool{}, claims{}
	items, _ := n.List()
	for _, item := range items {
		m := item.Map("id", "title", "port", "find", "profile", "calibration", "stale", "gone", "idle")
		w := Wrench{}
		w.Declared.Wrench = need(m, "id", unused("wrench", ids))
		w.Declared.Title = maybe(m, "title", line)
		if p, ok := m.Need("profile"); ok {
			w.Profile = r.profile(p)
		}
		taken.where(m, &w)
		ages(m, &w)
		if w.Port != "" && w.Profile != nil {
			if _, err := w.Place(nil); err != nil {
				at(m, "port").Faultf("%v", err)
			}
		}
		if cal, ok := m.Get("calibration"); ok {
			calibration(cal, &w.Declared)
			permits(cal, &w.Declared, known)
		}
		all = append(all, w)
	}
	return all
}

// profile reads a profile by its file if the name looks like a path, else by the name of one that is built in.
func (r reader) profile(n strictyaml.Node) *profile.Profile {
	name, ok := n.Text()
	if !ok {
		return nil
	}
	if !strings.ContainsRune(name, '/') && !strings.HasSuffix(name, ".yaml") {
		p, err := profile.Builtin(name)
		if err != nil {
			n.Faultf("found no built-in profile %q, expected one of %s, or the path of a profile file", name,
				strings.Join(profile.BuiltinNames(), ", "))
		}
		return p
	}
	path := r.beside(name)
	text, err := os.ReadFile(path)
	if err != nil {
		n.Faultf("read profile: %v", err)
		return nil
	}
	p, err := profile.Parse(path, text)
	if err != nil {
		n.Faultf("profile is wrong: %v", err)
	}
	return p
}

func (r reader) benches(n strictyaml.Node, wrenches []Wrench) []Bench {
	var all []Bench
	ids, home := map[string]bool{}, map[string]string{}
	for _, w := range wrenches {
		home[w.Declared.Wrench] = ""
	}
	items, _ := n.List()
	for _, item := range items {
		m := item.Map("id", "title", "wrenches")
		b := Bench{ID: need(m, "id", unused("bench", ids)), Title: maybe(m, "title", line)}
		if l, ok := m.Get("wrenches"); ok {
			b.Wrenches = lay(l, b.ID, home)
		}
		all = append(all, b)
	}
	for _, w := range wrenches {
		if id := w.Declared.Wrench; id != "" && home[id] == "" {
			n.Faultf("wrench %s lies on no bench: list it under one, or its readings belong nowhere", id)
		}
	}
	return all
}

// lay puts the listed wrenches on a bench; home holds where each known wrench lies already.
func lay(n strictyaml.Node, bench string, home map[string]string) []string {
	var ids []string
	items, _ := n.List()
	for _, item := range items {
		id, ok := item.Text()
		if !ok {
			continue
		}
		at, known := home[id]
		switch {
		case !known:
			item.Faultf("found wrench %q, expected the id of one listed under wrenches", id)
		case at != "":
			item.Faultf("wrench %s lies on bench %s already: a wrench has one bench", id, at)
		default:
			home[id] = bench
			ids = append(ids, id)
		}
	}
	return ids
}

func calibration(n strictyaml.Node, w *audit.WrenchDeclared) {
	m := n.Map("certificate", "done", "due", "cycles", "range", "class", "permissible", "deviation", "uncertainty")
	w.Certificate = maybe(m, "certificate", line)
	if t := maybe(m, "done", date); !t.IsZero() {
		w.Calibrated = &t
	}
	if t := maybe(m, "due", date); !t.IsZero() {
		end := endOfDay(t)
		w.Due = &end
	}
	if w.Calibrated != nil && w.Due != nil && w.Due.Before(*w.Calibrated) {
		at(m, "due").Faultf("due lies before done: swap the two dates")
	}
	r := maybe(m, "range", span)
	w.RangeLow, w.RangeHigh = int64(r.low), int64(r.high)
	w.Class, w.Cycles = maybe(m, "class", line), maybe(m, "cycles", cycles)
	w.Permissible = maybe(m, "permissible", share)
	w.Deviation, w.Uncertainty = maybe(m, "deviation", percent), maybe(m, "uncertainty", percent)
	if w.Uncertainty < 0 {
		at(m, "uncertainty").Faultf("found an uncertainty below zero, expected one such as 1.2 %%")
	}
}

// beside makes a relative path count from the folder of the file.
func (r reader) beside(path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(filepath.Dir(r.path), path)
}

func at(m strictyaml.Map, key string) strictyaml.Node {
	n, _ := m.Get(key)
	return n
}

func database(s string) (string, string) {
	if s == Private {
		return s, ""
	}
	u, err := url.Parse(s)
	if err != nil || (u.Scheme != "postgres" && u.Scheme != "postgresql") {
		return "", "expected private, or a URL such as postgres://user@host/database"
	}
	return s, ""
}

func address(s string) (string, string) {
	if _, _, err := net.SplitHostPort(s); err != nil {
		return "", "expected host:port, for example " + Listen
	}
	return s, ""
}
