package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv("CLUSTER_CHILD"); dir != "" {
		c, err := Start(context.Background(), dir, "fsync=off")
		fmt.Println("started", err)
		if err == nil {
			<-c.Done()
		}
		os.Exit(0)
	}
	goleak.VerifyTestMain(tests{m})
}

// tests takes the pattern away after the tests.
type tests struct{ *testing.M }

func (m tests) Run() int {
	code := m.M.Run()
	if dir, err := pattern(); err == nil {
		os.RemoveAll(filepath.Dir(dir))
	}
	return code
}

// pattern is a cluster that never ran, to be copied: a copy takes a tenth of the time of the making.
var pattern = sync.OnceValues(func() (string, error) {
	bin, err := Find()
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp("", "pattern-")
	if err != nil {
		return "", err
	}
	dir = filepath.Join(dir, "pg")
	return dir, create(context.Background(), bin, dir, false)
})

// made is a fresh cluster that is not running.
func made(t *testing.T) string {
	t.Helper()
	from, err := pattern()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "pg")
	if out, err := exec.Command("cp", "-a", from, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return dir
}

// begin starts a cluster and stops it with the test. What these tests end are processes, not the power.
func begin(t *testing.T, dir string, settings ...string) *Cluster {
	t.Helper()
	c, err := Start(t.Context(), dir, append(settings, "fsync=off")...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Stop(context.Background()) })
	return c
}

func query(t *testing.T, c *Cluster, sql string) (out string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(t.Context(), sql).Scan(&out); err != nil {
		t.Fatal(err)
	}
	return out
}

func write(t *testing.T, c *Cluster) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), "CREATE TABLE kept AS SELECT 'torque' AS word"); err != nil {
		t.Fatal(err)
	}
}

func TestCluster_RowsOutliveStopAndCrash(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pg")
	c := begin(t, dir)
	write(t, c)
	if err := c.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	c = begin(t, dir)
	if got := query(t, c, "SELECT word FROM kept"); got != "torque" {
		t.Errorf("after a stop: got %q, want torque", got)
	}
	if err := c.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := <-c.Done(); err == nil {
		t.Error("after a crash: got no reason for the end")
	}
	if err := c.Restart(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := query(t, c, "SELECT word FROM kept"); got != "torque" {
		t.Errorf("after a crash: got %q, want torque", got)
	}
	if got := query(t, c, "SHOW data_checksums"); got != "on" {
		t.Errorf("got data checksums %q, want on", got)
	}
	if got := query(t, c, "SHOW listen_addresses"); got != "" {
		t.Errorf("got listening on %q, want on no network", got)
	}
}

// Root may open the folder of another user's daemon, and must not start its server as a third one.
func TestCluster_OfAnotherUser(t *testing.T) {
	dir := made(t)
	const stranger = 54321
	if err := os.Chown(dir, stranger, stranger); err != nil {
		t.Skipf("a folder is given away by root only: %v", err)
	}
	c, err := Start(t.Context(), dir, "fsync=off")
	if err == nil {
		c.Stop(context.Background())
		t.Fatal("got a server in a folder of another user")
	}
	if want := "belongs to the user 54321: run this as that user, for example as root with `runuser -u 54321 -- witnessmark …`"; !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q", err, want)
	}
	if _, err := os.Stat(dir + ".log"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want no log of a server beside it", err)
	}
}

func TestCluster_ClosedParentsAndALongPath(t *testing.T) {
	deep := t.TempDir()
	for range 6 {
		deep = filepath.Join(deep, strings.Repeat("workshop-", 4))
		if err := os.Mkdir(deep, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	c := begin(t, filepath.Join(deep, "pg"))
	if got := query(t, c, "SELECT 'answers'"); got != "answers" {
		t.Errorf("got %q", got)
	}
	a, err := Attach(t.Context(), filepath.Join(deep, "pg"))
	if err != nil {
		t.Fatal(err)
	}
	if got := query(t, a, "SELECT 'answers'"); got != "answers" {
		t.Errorf("attached: got %q", got)
	}
	if err := a.Stop(t.Context()); err != nil {
		t.Error(err)
	}
	if got := query(t, c, "SELECT 'still there'"); got != "still there" {
		t.Errorf("after letting go of the attached one: got %q", got)
	}
}

func TestCluster_EndsWithItsOwner(t *testing.T) {
	dir := made(t)
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), "CLUSTER_CHILD="+dir)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	line := make([]byte, 64)
	n, _ := out.Read(line)
	if got := string(line[:n]); got != "started <nil>\n" {
		t.Fatalf("got %q from the owner", got)
	}
	child.Process.Kill()
	child.Wait()
	// Start waits for the killed owner's server to end, and would refuse if it did not.
	if c := begin(t, dir); query(t, c, "SELECT 'answers'") != "answers" {
		t.Error("got no answer after the owner was killed")
	}
}

func TestCluster_InterruptedCreationIsThrownAway(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pg")
	if err := os.MkdirAll(dir+".new/base", 0o700); err != nil {
		t.Fatal(err)
	}
	begin(t, dir)
	if _, err := os.Stat(dir + ".new"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want the half-made folder gone", err)
	}
}

func TestCluster_ForeignFolderIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	note := filepath.Join(dir, "letters.txt")
	if err := os.WriteFile(note, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if _, err := Start(ctx, dir); err == nil || !strings.Contains(err.Error(), "choose another data folder") {
		t.Errorf("got %v, want a refusal that says what to do", err)
	}
	if text, _ := os.ReadFile(note); string(text) != "mine" {
		t.Error("the file in the foreign folder is gone")
	}
}

func TestCluster_SecondServerIsRefused(t *testing.T) {
	dir := made(t)
	c := begin(t, dir)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	_, err := Start(ctx, dir)
	if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("(process %d) still runs", c.server.cmd.Process.Pid)) {
		t.Errorf("got %v, want the running server named", err)
	}
	if got := query(t, c, "SELECT 'unharmed'"); got != "unharmed" {
		t.Errorf("got %q from the first server", got)
	}
}

// TestCluster_StaleLockFile puts the number of a foreign process into the lock file, as a power cut can.
func TestCluster_StaleLockFile(t *testing.T) {
	dir := t.TempDir()
	f, err := openFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer f.close()
	stale := fmt.Sprintf("%d\n%s\n1\n5432\n\n\n\nready\n", os.Getpid(), dir)
	if err := os.WriteFile(filepath.Join(dir, "postmaster.pid"), []byte(stale), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := f.running(); got != 0 {
		t.Errorf("got process %d running in the folder, want none", got)
	}
}

func TestCluster_StopOutOfTimeKeepsRows(t *testing.T) {
	dir := made(t)
	c := begin(t, dir)
	write(t, c)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := c.Stop(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the end of the time named", err)
	}
	if err := c.Stop(t.Context()); err != nil {
		t.Errorf("stopped again: got %v", err)
	}
	if got := query(t, begin(t, dir), "SELECT word FROM kept"); got != "torque" {
		t.Errorf("got %q, want torque", got)
	}
}

func TestCluster_AttachWithoutServer(t *testing.T) {
	dir := t.TempDir()
	if _, err := Attach(t.Context(), dir); err == nil || !strings.Contains(err.Error(), "start the daemon first") {
		t.Errorf("got %v, want what to do", err)
	}
}

// Who looks at the records right after the daemon was started finds its server not ready yet.
func TestCluster_AttachWhileItStarts(t *testing.T) {
	c := begin(t, made(t))
	if err := c.Kill(); err != nil {
		t.Fatal(err)
	}
	started := make(chan error, 1)
	go func() { started <- c.Restart(t.Context()) }()
	for late := time.Now().Add(time.Minute); c.folder.running() == 0; time.Sleep(time.Millisecond) {
		if time.Now().After(late) {
			t.Fatal("the server does not start")
		}
	}
	a, err := Attach(t.Context(), c.folder.path)
	if err == nil {
		err = a.Stop(t.Context())
	}
	if err != nil {
		t.Errorf("got %v, want it waited for", err)
	}
	if err := <-started; err != nil {
		t.Error(err)
	}
}

func TestCluster_WrongSettingIsToldFromTheLog(t *testing.T) {
	dir := made(t)
	_, err := Start(t.Context(), dir, "fsync=off", "shared_buffers=none")
	if err == nil || !strings.Contains(err.Error(), "shared_buffers") {
		t.Errorf("got %v, want the server's own words", err)
	}
}

func TestLog_TurnsAndKeepsOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pg.log")
	l, err := openLog(path)
	if err != nil {
		t.Fatal(err)
	}
	l.max = 10
	for _, line := range []string{"one\n", "two\n", "three\n", "four\n", "five\n"} {
		if n, err := l.Write([]byte(line)); n != len(line) || err != nil {
			t.Errorf("got %d, %v", n, err)
		}
	}
	if err := l.Close(); err != nil {
		t.Error(err)
	}
	for name, want := range map[string]string{path + ".1": "three\n", path: "four\nfive\n"} {
		if got, _ := os.ReadFile(name); string(got) != want {
			t.Errorf("%s: got %q, want %q", filepath.Base(name), got, want)
		}
	}
	if got := l.tail(); got != "four | five" {
		t.Errorf("got %q at the end, want four | five", got)
	}
}
