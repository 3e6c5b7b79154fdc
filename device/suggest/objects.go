package suggest

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// objects is frames that are JSON objects.
type objects struct {
	paths  []string
	cells  []column
	places []map[string][2]int // of each frame: where the value of a path stands
}

// object is one frame.
type object struct {
	sample sample
	body   string
	values map[string]string
	places map[string][2]int
	paths  []string
}

// mostSorts bounds the values of a key that tells sorts of objects apart.
const mostSorts = 6

// objectTables takes all objects together, and then, for every key that could tell sorts of objects apart, those of each
// sort.
func objectTables(samples []sample, bodies []string, least int) (tables []table) {
	var all []object
	for i, b := range bodies {
		if values, places, paths, ok := flat(b); ok {
			all = append(all, object{samples[i], b, values, places, paths})
		}
	}
	add := func(some []object, sort string) {
		if len(some) >= max(least, 1) {
			tables = append(tables, objectTable(some, sort))
		}
	}
	add(all, "")
	for _, path := range sortPaths(all) {
		for _, value := range sortValues(all, path) {
			add(slices.DeleteFunc(slices.Clone(all), func(o object) bool { return o.values[path] != value }), path)
		}
	}
	return tables
}

// sortPaths are the keys that every object has and that hold few words.
func sortPaths(all []object) (paths []string) {
	if len(all) == 0 {
		return nil
	}
	for _, p := range all[0].paths {
		n := len(sortValues(all, p))
		if n > 1 && n <= mostSorts && !slices.ContainsFunc(all, func(o object) bool { return plainWord.FindString(o.values[p]) == "" }) {
			paths = append(paths, p)
		}
	}
	return paths
}

func sortValues(all []object, path string) (values []string) {
	for _, o := range all {
		if v := o.values[path]; !slices.Contains(values, v) {
			values = append(values, v)
		}
	}
	return values
}

// objectTable makes a column of every path. The one named sort tells these objects from others.
func objectTable(all []object, sort string) table {
	o := &objects{}
	t := table{layout: o}
	if sort != "" {
		t.sort = sort + "=" + all[0].values[sort]
	}
	for _, one := range all {
		for _, p := range one.paths {
			o.add(p)
		}
		o.places, t.samples, t.bodies = append(o.places, one.places), append(t.samples, one.sample), append(t.bodies, one.body)
	}
	for k, p := range o.paths {
		key := p[strings.LastIndex(p, ".")+1:]
		c := column{place: "at: " + p, called: p, label: strings.ToLower(key), from: k, to: k + 1, sort: p == sort}
		for _, one := range all {
			c.cells = append(c.cells, strings.TrimSpace(one.values[p]))
		}
		o.cells = append(o.cells, c)
	}
	return t
}

func (o *objects) add(path string) {
	for _, p := range o.paths {
		if p == path {
			return
		}
	}
	o.paths = append(o.paths, path)
}

// flat gives the values of an object by their dotted paths, in the order in which they stand.
func flat(body string) (values map[string]string, places map[string][2]int, paths []string, ok bool) {
	if !strings.HasPrefix(strings.TrimSpace(body), "{") || !json.Valid([]byte(body)) {
		return nil, nil, nil, false
	}
	w := walk{body: body, decoder: json.NewDecoder(strings.NewReader(body)), values: map[string]string{}, places: map[string][2]int{}}
	w.decoder.UseNumber()
	return w.values, w.places, w.paths, w.value("") == nil || len(w.paths) > 0
}

// walk goes through one object.
type walk struct {
	body    string
	decoder *json.Decoder
	values  map[string]string
	places  map[string][2]int
	paths   []string
}

func (w *walk) value(path string) error {
	before := int(w.decoder.InputOffset())
	t, err := w.decoder.Token()
	if err != nil {
		return err
	}
	delim, nested := t.(json.Delim)
	if !nested {
		w.keep(path, t, before)
		return nil
	}
	for n := 0; w.decoder.More(); n++ {
		key := fmt.Sprint(n)
		if delim == '{' {
			k, err := w.decoder.Token()
			if err != nil {
				return err
			}
			key, _ = k.(string)
		}
		inner := strings.TrimPrefix(path+"."+key, ".")
		if strings.Trim(key, keyLetters) != "" || key == "" {
			inner = "" // a key that no path can name; what is in it is passed over
		}
		if err := w.value(inner); err != nil {
			return err
		}
	}
	_, err = w.decoder.Token()
	return err
}

const keyLetters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-"

func (w *walk) keep(path string, t json.Token, before int) {
	if _, known := w.values[path]; known || path == "" || strings.HasPrefix(path, ".") {
		return
	}
	text := ""
	if t != nil {
		text = fmt.Sprint(t)
	}
	end := int(w.decoder.InputOffset())
	for before < end && strings.ContainsRune(" ,:\t", rune(w.body[before])) {
		before++
	}
	w.values[path], w.places[path] = text, [2]int{before, end}
	w.paths = append(w.paths, path)
}

func (o *objects) form() string      { return "json" }
func (o *objects) columns() []column { return o.cells }

func (o *objects) extent(n int, c column) (from, to int) {
	p := o.places[n][o.paths[c.from]]
	return p[0], p[1]
}

func (o *objects) rest(taken []column) (free []column) {
	for _, c := range o.cells {
		if !c.overlapsAny(taken) {
			free = append(free, c)
		}
	}
	return free
}

func (o *objects) write(fields []field) []string {
	return append([]string{"fields:", "  json: true"}, list(fields)...)
}
