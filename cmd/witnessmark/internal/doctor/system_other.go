//go:build !linux

package doctor

import (
	"errors"
	"os"
)

var errLinuxOnly = errors.New("this is looked at on Linux only")

// stat knows no owner here.
func stat(path string) (status, error) {
	info, err := os.Stat(path)
	if err != nil {
		return status{}, err
	}
	return status{mode: info.Mode()}, nil
}

func kernel() (string, error)           { return "", errLinuxOnly }
func fileSystem(string) (string, error) { return "", errLinuxOnly }
func readOnly(string) (bool, error)     { return false, errLinuxOnly }
