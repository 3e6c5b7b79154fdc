package profile

import (
	"embed"
	"fmt"
	"path"
	"strings"
)

//go:embed builtin/*.yaml
var builtin embed.FS

// BuiltinNames lists the profiles that come with the program, in alphabetical order.
func BuiltinNames() []string {
	entries, err := builtin.ReadDir("builtin")
	if err != nil {
		panic(err) // the folder is part of the program
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".yaml")
	}
	return names
}

// Builtin is one of the profiles that come with the program.
func Builtin(name string) (*Profile, error) {
	file := path.Join("builtin", name+".yaml")
	text, err := builtin.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("no built-in profile %q: choose one of %s", name, strings.Join(BuiltinNames(), ", "))
	}
	return Parse(file, text)
}
