package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
)

// Roles that connections take on, so that even our own code cannot do more than its part.
const (
	writerRole = "witnessmark_writer"
	readerRole = "witnessmark_reader"
)

// usable makes a role and lets the user take it on. Since PostgreSQL 16 who makes a role is a member of it and still must not
// take it on, until that is granted too (https://www.postgresql.org/docs/16/sql-createrole.html, createrole_self_grant).
const usable = `DO $$ BEGIN
	IF to_regrole('%[1]s') IS NULL THEN
		CREATE ROLE %[1]s NOLOGIN;
	END IF;
	IF NOT pg_has_role(current_user, '%[1]s', CASE WHEN current_setting('server_version_num')::int >= 160000 THEN 'SET' ELSE 'MEMBER' END) THEN
		GRANT %[1]s TO CURRENT_USER;
	END IF;
END $$`

// Roles are of the whole server: another daemon may make them for its own database at the same moment, and who comes second is
// refused, in one of several ways.
const (
	rolesTries = 20
	rolesPause = 50 * time.Millisecond
)

// makeRoles makes what is missing of the roles. A crash leaves roles that nobody uses.
func makeRoles(ctx context.Context, exec func(ctx context.Context, sql string) error) error {
	for _, role := range []string{writerRole, readerRole} {
		err := exec(ctx, fmt.Sprintf(usable, role))
		for try := 1; try < rolesTries && second(err); try++ {
			select {
			case <-time.After(rolesPause):
			case <-ctx.Done():
				return ctx.Err()
			}
			err = exec(ctx, fmt.Sprintf(usable, role))
		}
		var pg *pgconn.PgError
		if errors.As(err, &pg) && pg.Code == "42501" {
			return fmt.Errorf("this user of the database may not make or take on the role %[1]s: let an administrator of the server do CREATE ROLE %[1]s NOLOGIN, where it is missing, and GRANT %[1]s to this user: %[2]w", role, err)
		}
		if err != nil {
			return fmt.Errorf("make the role %s: %w", role, err)
		}
	}
	return nil
}

// second is true of what meets who makes a role, or a membership, at the same moment as another.
func second(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (slices.Contains([]string{"42710", "23505", "42704"}, pg.Code) || // made or not there any more
		pg.Code == "XX000" && pg.Message == "tuple concurrently updated")
}
