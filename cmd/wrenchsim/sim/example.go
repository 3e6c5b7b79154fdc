package sim

import _ "embed"

// Example is a script that shows every key, with comments.
//
//go:embed example.yaml
var Example string
