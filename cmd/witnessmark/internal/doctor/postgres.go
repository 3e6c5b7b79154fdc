package doctor

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/daemon"
	"witnessmark/store/cluster"
)

// postgres looks for the server's programs where the database is a private one, else for the server itself.
func (b *Box) postgres(ctx context.Context) Finding {
	f := Finding{Check: "PostgreSQL"}
	if b.Config.Database != config.Private {
		return b.reachable(ctx, f)
	}
	programs, err := b.System.Server(daemon.Folder(b.Data).Postgres())
	switch {
	case errors.Is(err, fs.ErrPermission):
		f.State, f.Found, f.Do = Look, err.Error(), asRoot
	case errors.Is(err, cluster.ErrNoServer):
		f.State, f.Found = NotOK, "no PostgreSQL server is installed"
		f.Do = "apt-get install postgresql; until then readings are kept in the journal only"
	case err != nil: // it says what is wrong
		f.State, f.Found = NotOK, err.Error()
		f.Do = "put that right; until then readings are kept in the journal only"
	default:
		f.State, f.Found = OK, "server programs in "+string(programs)
	}
	return f
}

// reachWithin bounds the look at a server or a network port.
const reachWithin = 5 * time.Second

func (b *Box) reachable(ctx context.Context, f Finding) Finding {
	ctx, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	conn, err := pgx.Connect(ctx, b.Config.Database)
	if err != nil {
		f.State, f.Found = NotOK, fmt.Sprintf("the shop's database cannot be reached: %v", err)
		f.Do = "see to its server, its network and the URL in the configuration; until then readings are kept in the journal only"
		return f
	}
	f.State, f.Found = OK, "the shop's database answers, version "+conn.PgConn().ParameterStatus("server_version")
	if err := conn.Close(ctx); err != nil {
		f.State, f.Found = Look, fmt.Sprintf("the shop's database answers and hangs up badly: %v", err)
		f.Do = "read the log of its server"
	}
	return f
}
