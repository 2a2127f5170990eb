package store

import (
	"context"
	"fmt"
	"strconv"

	"github.com/jackc/pgx/v5"
)

// Listen calls changed with the number of each job that any process changes,
// until ctx ends or the connection is lost; it calls ready once it hears. After
// a loss the caller listens again and takes it that any job may have changed.
func (s *Store) Listen(ctx context.Context, ready func(), changed func(jobID int64)) error {
	conn, err := pgx.ConnectConfig(ctx, s.conns.Config().ConnConfig)
	if err != nil {
		return translate(err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `LISTEN crosscount_job`); err != nil {
		return translate(err)
	}
	ready()
	for {
		n, err := conn.WaitForNotification(ctx)
		if err != nil {
			return translate(err)
		}
		id, err := strconv.ParseInt(n.Payload, 10, 64)
		if err != nil {
			return fmt.Errorf("notification that is no job number: %w", err)
		}
		changed(id)
	}
}
