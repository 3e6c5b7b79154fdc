package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base32"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"witnessmark/cmd/witnessmark/internal/whole"
)

// setupCode is the code by which the first administrator comes in. It lies in a file, so that a restart does not make
// the one on paper worthless, and is gone with its use.
type setupCode struct {
	folder string
	mu     sync.Mutex
}

const setupFile = "set-up-code"

// SetUpCode is the code, made where there is none.
func (p *Pages) SetUpCode() (string, error) {
	p.setup.mu.Lock()
	defer p.setup.mu.Unlock()
	return p.setup.read()
}

func (c *setupCode) read() (string, error) {
	path := filepath.Join(c.folder, setupFile)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(text) == 0 {
		b := make([]byte, 15)
		_, _ = rand.Read(b) // never fails
		code := base32.StdEncoding.EncodeToString(b)
		text = []byte(code[:6] + "-" + code[6:12] + "-" + code[12:18] + "-" + code[18:])
		err = whole.Keep(path, text)
	}
	if err != nil {
		return "", fmt.Errorf("keep the set-up code: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}

// use takes the code: it works once. do is what it is for; where that fails the code stays.
func (c *setupCode) use(said string, do func() error) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	path := filepath.Join(c.folder, setupFile)
	text, err := os.ReadFile(path)
	said = strings.ToUpper(strings.Join(strings.Fields(said), ""))
	if err != nil || said == "" || subtle.ConstantTimeCompare([]byte(said), []byte(strings.TrimSpace(string(text)))) != 1 {
		return errWrongCode
	}
	if err := do(); err != nil {
		return err
	}
	return os.Remove(path)
}

var errWrongCode = errors.New(en("refusal.this-is-not-the-set-up-code-it", "File", setupFile))

// EnterLink is a link that signs a person in by the set-up code, once.
func (p *Pages) EnterLink(address, name, page string) (string, error) {
	code, err := p.SetUpCode()
	if err != nil {
		return "", err
	}
	q := url.Values{"code": {code}, "as": {name}, "next": {page}}
	return "http://" + address + "/enter?" + q.Encode(), nil
}
