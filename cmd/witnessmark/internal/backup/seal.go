package backup

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"filippo.io/age"

	"witnessmark/cmd/witnessmark/internal/control"
)

// Seal says for whom a backup is encrypted, and how it is opened again.
type Seal struct {
	recipients []age.Recipient // none: it is not encrypted
	identities []age.Identity  // of those who are to open it
	check      []age.Identity  // only for reading back what was just written
}

// Plain is no encryption: whoever has the file reads everything and can sign as the shop.
func Plain() Seal { return Seal{} }

// For encrypts for X25519 recipients (age1…). A key that lives only as long as this process is added to them, with which the
// file is read back and checked; where identities are given, it is they that must open it.
func For(recipients []string, identities []age.Identity) (Seal, error) {
	s := Seal{identities: identities, check: identities}
	for _, text := range recipients {
		r, err := age.ParseX25519Recipient(strings.TrimSpace(text))
		if err != nil {
			return Seal{}, fmt.Errorf("%q is no recipient: give what age-keygen shows as the public key, age1…: %w", text, err)
		}
		s.recipients = append(s.recipients, r)
	}
	if len(identities) > 0 {
		return s, nil
	}
	own, err := age.GenerateX25519Identity()
	if err != nil {
		return Seal{}, err
	}
	s.recipients, s.check = append(s.recipients, own.Recipient()), []age.Identity{own}
	return s, nil
}

// leastPassphrase is the fewest letters that are taken for a passphrase.
const leastPassphrase = 12

// WithPassphrase encrypts with the first line of a file.
func WithPassphrase(file string) (Seal, error) {
	word, err := passphrase(file)
	if err != nil {
		return Seal{}, err
	}
	if len(word) < leastPassphrase {
		return Seal{}, fmt.Errorf("the passphrase in %s is shorter than %d letters: take a longer one, or a recipient", file, leastPassphrase)
	}
	r, err := age.NewScryptRecipient(word)
	if err != nil {
		return Seal{}, err
	}
	id, err := age.NewScryptIdentity(word)
	if err != nil {
		return Seal{}, err
	}
	return Seal{[]age.Recipient{r}, []age.Identity{id}, []age.Identity{id}}, nil
}

func passphrase(file string) (string, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("read passphrase: %w", err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	if line = strings.TrimRight(line, "\r"); line == "" {
		return "", fmt.Errorf("the first line of %s is empty: write the passphrase there", file)
	}
	return line, nil
}

// Identities reads the files that open a backup: identities as age-keygen writes them, and a passphrase. Either may be empty.
func Identities(files []string, passphraseFile string) ([]age.Identity, error) {
	var all []age.Identity
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return nil, fmt.Errorf("read identity: %w", err)
		}
		ids, err := age.ParseIdentities(bytes.NewReader(text))
		if err != nil {
			return nil, fmt.Errorf("%s holds no identity: give the file that age-keygen wrote: %w", file, err)
		}
		all = append(all, ids...)
	}
	if passphraseFile == "" {
		return all, nil
	}
	word, err := passphrase(passphraseFile)
	if err != nil {
		return nil, err
	}
	id, err := age.NewScryptIdentity(word)
	return append(all, id), err
}

// over gives the writer whose content is sealed into out; it must be closed.
func (s Seal) over(out io.Writer) (io.WriteCloser, error) {
	if len(s.recipients) == 0 {
		return open{out}, nil
	}
	return age.Encrypt(out, s.recipients...)
}

type open struct{ io.Writer }

func (open) Close() error { return nil }

// magic begins every file of age, after C2SP age.
const magic = "age-encryption.org/v1\n"

// unseal gives the content of a file and its length in bytes.
func unseal(f *os.File, identities []age.Identity) (io.ReaderAt, int64, error) {
	st, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	begin, err := bufio.NewReader(io.NewSectionReader(f, 0, int64(len(magic)))).Peek(len(magic))
	if err != nil || string(begin) != magic {
		return f, st.Size(), nil // plain, or nothing of ours, which shows by itself
	}
	if len(identities) == 0 {
		return nil, 0, control.Malformed("the backup is encrypted: give --identity or --passphrase-file")
	}
	content, size, err := age.DecryptReaderAt(f, st.Size(), identities...)
	var none *age.NoIdentityMatchError
	if errors.As(err, &none) {
		return nil, 0, control.Malformed("the backup is encrypted for somebody else: give the identity or the passphrase that belongs to it")
	}
	return content, size, err
}
