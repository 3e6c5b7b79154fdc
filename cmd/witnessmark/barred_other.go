//go:build !unix

package main

// barred says why this user may not open a device: nothing is known of that there.
func barred(string) string { return "" }
