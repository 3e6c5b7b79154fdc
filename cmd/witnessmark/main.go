// Command witnessmark records what torque wrenches report against the tightening procedure of an engine, and proves
// later that the record was never changed.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"os/signal"
	"strconv"
	"syscall"

	"github.com/alecthomas/kong"
	"github.com/willabides/kongplete"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/cmd/witnessmark/internal/show"
)

// Exit codes.
const (
	exitOK        = 0
	exitAttention = 1 // it ran, and something is not right
	exitInput     = 2 // what was asked for makes no sense
)

// commands is the whole command line.
type commands struct {
	Data string `help:"Data folder of the daemon. Left out: the one that a configuration given names, else this user's own if a shop is in it, else that of the installed service." placeholder:"DIR" type:"path" env:"WITNESSMARK_DATA"`
	network

	Man manFlag `help:"Write the manual page." hidden:""`

	Demo      demoCommand      `cmd:"" help:"Play a day at an invented bench with simulated wrenches, and show what is recorded."`
	Serve     serveCommand     `cmd:"" help:"Run the daemon: take readings, match, judge and record them."`
	Config    configCommand    `cmd:"" help:"Show an example of the configuration file, or check one."`
	Procedure procedureCommand `cmd:"" help:"Check, add or list tightening procedures."`
	Build     buildCommand     `cmd:"" help:"Open, list, review, release or reopen builds."`
	Concede   concedeCommand   `cmd:"" help:"Accept a finding of a build, with a reason."`
	Correct   correctCommand   `cmd:"" help:"Say after the fact where a reading belongs, with a reason."`
	Joint     jointCommand     `cmd:"" help:"Put a joint on a bench, renew its bolts, hand it over, take it off."`
	Check     checkCommand     `cmd:"" help:"Answer a check of the joint on a bench."`
	Locate    locateCommand    `cmd:"" help:"Say which fastener a reading was."`
	Watch     watchCommand     `cmd:"" help:"Show a bench live: what is next, how it was, what is wrong."`
	Wrench    wrenchCommand    `cmd:"" help:"Find, try and watch the wrenches."`
	Adapter   adapterCommand   `cmd:"" help:"Say which crowfoot or extension is fitted to a wrench at a bench."`
	Person    personCommand    `cmd:"" help:"Blank the name of a person when its time is over."`
	Retention retentionCommand `cmd:"" help:"List the people whose names need not be kept any more."`
	Badge     badgeCommand     `cmd:"" help:"Give badges to people, take them back, or list them."`
	Token     tokenCommand     `cmd:"" help:"Give tokens to machines, take them back, or list them."`
	Scanner   scannerCommand   `cmd:"" help:"Show how the barcode scanners fare."`
	Replay    replayCommand    `cmd:"" help:"Match and judge a file of readings with no database."`
	History   historyCommand   `cmd:"" help:"Show everything recorded about an engine."`
	Claim     claimCommand     `cmd:"" help:"Look up an engine, unit, work order or VIN years later, and tell its story."`
	Sheet     sheetCommand     `cmd:"" help:"Write the build sheet of a build as PDF."`
	Bundle    bundleCommand    `cmd:"" help:"Write everything recorded of a build into a zip file that proves itself."`
	Verify    verifyCommand    `cmd:"" help:"Prove that the record was not changed, or check a bundle."`
	Export    exportCommand    `cmd:"" help:"Write readings as a table, CSV or xlsx."`
	Affected  affectedCommand  `cmd:"" help:"List the engines that a bad bolt lot, procedure revision or bench has touched."`
	Backup    backupCommand    `cmd:"" help:"Write database, journal and keys into one encrypted file, and check it."`
	Restore   restoreCommand   `cmd:"" help:"Make a data folder of a backup, and prove what is in it."`
	Ledger    ledgerCommand    `cmd:"" help:"Change the key that signs the record, or prove to a witness that it goes on."`
	Witness   witnessCommand   `cmd:"" help:"Sign the checkpoints of a shop from outside it."`
	Doctor    doctorCommand    `cmd:"" help:"Look at this computer: what is missing for the daemon, what will go wrong, what to do."`
	Version   versionCommand   `cmd:"" help:"Show the version."`
}

// shop is what every command gets: where the daemon's folder is, how it is reached from elsewhere, and where to write.
type shop struct {
	data   string
	remote network // without a server: the daemon is on this machine
	out    io.Writer
	log    io.Writer
}

func (s shop) folder() daemon.Folder { return daemon.Folder(s.data) }

func (s shop) client() *control.Client {
	if s.remote.Server != "" {
		return s.remote.client()
	}
	if err := s.open(); err != nil {
		return control.Refusing(err)
	}
	return control.NewClient(s.folder().Socket())
}

// inputError marks what the person must write differently: exit code 2.
type inputError struct{ error }

func (e inputError) Unwrap() error { return e.error }

// errAttention ends a command that has said on its output what is not right: exit code 1 and no further word.
var errAttention = errors.New("something needs attention")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the program without the process around it.
func run(ctx context.Context, args []string, out, errs io.Writer) (code int) {
	var c commands
	exited := false
	parser, err := kong.New(&c, kong.Name("witnessmark"), kong.Writers(out, errs), kong.UsageOnError(),
		kong.Description("Reads digital torque wrenches, matches each reading to the fastener that is next in the "+
			"procedure, and records it so that a change shows."),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Help(helpWithSafety),
		kong.Exit(func(n int) { exited, code = true, n }),
		kong.Vars{"token_days": strconv.Itoa(control.TokenDays)},
		kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(&c.network))
	if err != nil {
		fmt.Fprintln(errs, "witnessmark:", err)
		return exitInput
	}
	kongplete.Complete(parser) // ends here where a shell asks what could come next
	words, err := parser.Parse(args)
	if exited {
		return code
	}
	if err != nil {
		fmt.Fprintf(errs, "witnessmark: %s\n", misspoken(err))
		return exitInput
	}
	return report(errs, words.Run(shop{data: folder(c.Data, packageData), remote: c.network, out: out, log: errs}))
}

// misspoken says what is wrong with a command line, and where to read how it is written.
func misspoken(err error) string {
	var missing *fs.PathError
	if errors.As(err, &missing) && errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("there is no file %s: check its name", missing.Path)
	}
	command := "witnessmark"
	var parse *kong.ParseError
	if errors.As(err, &parse) && parse.Context.Selected() != nil {
		command = parse.Context.Selected().FullPath()
	}
	return fmt.Sprintf("%v; see %s --help", err, command)
}

func helpWithSafety(o kong.HelpOptions, ctx *kong.Context) error {
	if err := kong.DefaultHelpPrinter(o, ctx); err != nil {
		return err
	}
	_, err := fmt.Fprintf(ctx.Stdout, "\n%s\n", show.Safety)
	return err
}

// report says what went wrong and gives the exit code.
func report(errs io.Writer, err error) int {
	var input inputError
	var refused *control.Error
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errAttention):
		return exitAttention
	case errors.As(err, &input):
		fmt.Fprintln(errs, "witnessmark:", err)
		return exitInput
	case errors.As(err, &refused) && (refused.Status == http.StatusBadRequest || refused.Status == http.StatusNotFound):
		fmt.Fprintln(errs, "witnessmark:", err)
		return exitInput
	}
	fmt.Fprintln(errs, "witnessmark:", err)
	return exitAttention
}
