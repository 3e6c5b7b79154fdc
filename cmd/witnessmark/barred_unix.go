//go:build unix

package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// barred says why this user may not open a device; empty if it may be opened or is not there.
func barred(node string) string {
	err := unix.Access(node, unix.R_OK|unix.W_OK)
	if !errors.Is(err, unix.EACCES) {
		return ""
	}
	group := "its group"
	var st unix.Stat_t
	if unix.Stat(node, &st) == nil {
		group = "group " + groupName(st.Gid)
	}
	return fmt.Sprintf("this user may not open it: add the user to %s and log in again", group)
}

// groupName looks a group up in the system's own list.
func groupName(id uint32) string {
	number := fmt.Sprint(id)
	text, _ := os.ReadFile("/etc/group") // the number will do
	for line := range strings.Lines(string(text)) {
		if f := strings.Split(line, ":"); len(f) > 2 && f[2] == number {
			return f[0]
		}
	}
	return number
}
