package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Layout is a named set of sensor locations to start from.
type Layout struct {
	ID      int64
	Name    string
	Sensors []Sensor
}

const layoutsSQL = `SELECT l.id, l.name, coalesce((SELECT jsonb_agg(jsonb_build_object('Bank', bank, 'Position', position,
		'Kind', kind, 'Wires', wires, 'Common', common) ORDER BY bank, position)
	FROM layout_sensors WHERE layout_id = l.id), '[]') AS sensors FROM layouts l `

// Layouts lists the layouts, small ones first.
func (s *Store) Layouts(ctx context.Context) ([]Layout, error) {
	return many[Layout](ctx, s.pool, layoutsSQL+`
		ORDER BY (SELECT count(*) FROM layout_sensors WHERE layout_id = l.id), l.name`)
}

// Layout returns one layout.
func (s *Store) Layout(ctx context.Context, id int64) (Layout, error) {
	return one[Layout](ctx, s.pool, layoutsSQL+`WHERE l.id = $1`, id)
}

// SaveLayout adds a layout, or changes it if it has an id, and returns the id.
func (s *Store) SaveLayout(ctx context.Context, by int64, l Layout) (id int64, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if l.ID == 0 {
			id, err = value[int64](ctx, tx, `INSERT INTO layouts (name) VALUES ($1) RETURNING id`, l.Name)
		} else {
			id, err = value[int64](ctx, tx, `UPDATE layouts SET name = $2 WHERE id = $1 RETURNING id`, l.ID, l.Name)
		}
		if err != nil {
			return err
		}
		var b pgx.Batch
		b.Queue(`DELETE FROM layout_sensors WHERE layout_id = $1`, id)
		for _, p := range l.Sensors {
			b.Queue(`INSERT INTO layout_sensors (layout_id, bank, position, kind, wires, common)
				VALUES ($1, $2::bigint, $3::bigint, $4, $5::bigint, $6)`, id, p.Bank, p.Position, p.Kind, p.Wires, p.Common)
		}
		return tx.SendBatch(ctx, &b).Close()
	})
	return id, err
}

// DeleteLayout removes a layout; cars that started from it keep their sensors.
func (s *Store) DeleteLayout(ctx context.Context, by, id int64) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		return must(ctx, tx, `DELETE FROM layouts WHERE id = $1`, id)
	})
}
