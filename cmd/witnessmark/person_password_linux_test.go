package main

import (
	"bytes"
	"errors"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

// signsIn tells whether the pages let somebody in.
func signsIn(t *testing.T, d *daemon.Daemon, name, password string) bool {
	t.Helper()
	c := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := c.PostForm("http://"+d.Addr()+"/sign-in", url.Values{"name": {name}, "password": {password}})
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	return resp.StatusCode == http.StatusSeeOther
}

func TestPersonPassword(t *testing.T) {
	data := t.TempDir()
	d := administered(t, data)
	const new = "nine blue ladders sang"
	file, short := write(t, "password", new+"\r\nnot this line\n"), write(t, "short", "too short\n")
	for _, step := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"Eve Stone", "--password-file", file}, exitInput, `nobody is called "Eve Stone" in this shop`},
		{[]string{"Ada Holt", "--password-file", short}, exitInput, "a password has 12 characters or more"},
		{[]string{"Ada Holt", "--password-file", file + ".none"}, exitInput, "there is no file"},
		{[]string{"Ada Holt", "--password-file", file, "--server", "http://" + d.Addr(), "--token-file", file}, exitInput, "leave out --server"},
		{[]string{"Ada Holt", "--password-file", file}, exitOK, "Ada Holt has a new password and is signed in nowhere any more.\n"},
	} {
		code, out, errs := said(t, append([]string{"person", "password", "--data", data}, step.args...)...)
		if code != step.code || !strings.Contains(out+errs, step.says) || strings.Contains(out+errs, new) {
			t.Errorf("%q: got %d, %q, %q, want %d and %q", step.args, code, out, errs, step.code, step.says)
		}
		if step.code != exitOK && !signsIn(t, d, "Ada Holt", "three words of no kin") {
			t.Fatalf("%q: refused, and the old password is gone", step.args)
		}
	}
	if !signsIn(t, d, "Ada Holt", new) || signsIn(t, d, "Ada Holt", "three words of no kin") {
		t.Error("want the new password to open the pages, and the old one not")
	}
	t.Run("where nobody can be asked", func(t *testing.T) {
		cmd := command(t, "person", "password", "Ada Holt", "--data", data)
		out, err := cmd.CombinedOutput() // its input is no terminal
		if err == nil || !strings.Contains(string(out), "name with --password-file") {
			t.Errorf("got %v, %s, want the flag named", err, out)
		}
	})
	t.Run("at a terminal", func(t *testing.T) { typedPasswords(t, d, data) })
}

func typedPasswords(t *testing.T, d *daemon.Daemon, data string) {
	const typed, other = "a kettle under the quay", "a kettle under the key"
	ask := []string{"person", "password", "Ada Holt", "--data", data}
	for rule, c := range map[string]struct {
		lines []string
		code  int
		says  string
	}{
		"not the same twice": {[]string{typed + "\n", other + "\n"}, exitInput, "the two are not the same, so nothing was changed"},
		"left by Ctrl-C":     {[]string{typed + "\n", "\x03"}, exitAttention, "nothing was changed"},
	} {
		code, out := atTerminal(t, c.lines, ask...)
		if code != c.code || !strings.Contains(out, c.says) || strings.Contains(out, typed) || signsIn(t, d, "Ada Holt", typed) {
			t.Errorf("%s: got %d, %q, want %d and %q, and nothing changed", rule, code, out, c.code, c.says)
		}
	}
	code, out := atTerminal(t, []string{typed + "\n", typed + "\n"}, ask...)
	if code != exitOK || !strings.Contains(out, "Ada Holt has a new password") || strings.Contains(out, typed) || !signsIn(t, d, "Ada Holt", typed) {
		t.Errorf("got %d, %q, want the password given and never shown", code, out)
	}
}

// atTerminal runs the program at a terminal, types a line at each question, once it is not shown, and gives what stood there.
func atTerminal(t *testing.T, lines []string, args ...string) (code int, shown string) {
	t.Helper()
	cmd := command(t, args...)
	screen, err := pty.Start(cmd)
	if err != nil {
		t.Fatal(err)
	}
	defer screen.Close()
	var all bytes.Buffer
	questions := 0
	piece := make([]byte, 4096)
	for {
		n, err := screen.Read(piece)
		all.Write(piece[:n])
		if err != nil { // the program has ended
			break
		}
		if asked := strings.Count(all.String(), ": "); asked > questions && questions < len(lines) {
			hidden(t, screen)
			if _, err := screen.WriteString(lines[questions]); err != nil {
				t.Fatal(err)
			}
			questions++
		}
	}
	var exit *exec.ExitError
	if err := cmd.Wait(); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.Sys().(syscall.WaitStatus).ExitStatus(), all.String()
}

// hidden waits until a terminal does not show what is typed.
func hidden(t *testing.T, screen *os.File) {
	t.Helper()
	for late := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
		state, err := unix.IoctlGetTermios(int(screen.Fd()), unix.TCGETS)
		if err != nil || time.Now().After(late) {
			t.Fatalf("what is typed is shown still, %v", err)
		}
		if state.Lflag&unix.ECHO == 0 {
			return
		}
	}
}
