package ledger

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
)

// The keys of a shop lie beside each other: the first one in its file, the second in the same name with -2 behind it, and
// so on. None is ever renamed or removed by the program. Which one signs is for the ledger to say, so that no crash leaves
// a doubt about it: until the commit of the entry that changes the key the old one signs, from that commit on the new one.
// The old private half is needed once more should the database be lost and written anew from the journal.

// Later are the keys that were made after this one, the oldest first.
func (k *Key) Later() ([]*Key, error) {
	var all []*Key
	for n := 2; k.path != "" && (there(behind(k.path, n)) || there(behind(k.path, n)+".pub")); n++ {
		key, err := LoadOrCreateKey(behind(k.path, n), k.Verifier.Name())
		if err != nil {
			return nil, err
		}
		all = append(all, key)
	}
	return all, nil
}

// Find is this key, or the later one, with a public half.
func (k *Key) Find(public string) (*Key, error) {
	later, err := k.Later()
	if err != nil {
		return nil, err
	}
	for _, key := range append([]*Key{k}, later...) {
		if key.Public == public {
			return key, nil
		}
	}
	print, err := Fingerprint(public)
	if err != nil {
		return nil, err
	}
	return nil, fmt.Errorf("the ledger is signed with the key %s, which does not lie beside %s: put it back from a backup", print, k.path)
}

// Next is the key to change to while another one signs: the one behind it, which a crash may have left before its entry was
// recorded, else a new one.
func (k *Key) Next(signing string) (*Key, error) {
	if _, err := k.Find(signing); err != nil {
		return nil, err
	}
	later, err := k.Later()
	if err != nil {
		return nil, err
	}
	all := append([]*Key{k}, later...)
	if i := slices.IndexFunc(all, func(k *Key) bool { return k.Public == signing }); i+1 < len(all) {
		return all[i+1], nil
	}
	return LoadOrCreateKey(behind(k.path, len(all)+1), k.Verifier.Name())
}

func behind(path string, n int) string { return path + "-" + strconv.Itoa(n) }

func there(path string) bool {
	_, err := os.Stat(path)
	return !errors.Is(err, os.ErrNotExist)
}

// publicOnly is a key whose private half was taken away.
func publicOnly(path string) (*Key, error) {
	v, err := ReadVerifier(path + ".pub")
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(path + ".pub")
	if err != nil {
		return nil, fmt.Errorf("read public key: %w", err)
	}
	return &Key{Verifier: v, Public: strings.TrimSpace(string(text)), path: path}, nil
}
