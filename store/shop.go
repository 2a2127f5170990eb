package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Shop is the shop's own data and its settings.
type Shop struct {
	Name               string
	Address            string
	Phone              string
	LabourPerHourMinor int64  // in minor units of Currency
	Currency           string // ISO 4217
	Locale             string // BCP 47: how numbers are written
	Language           string // BCP 47
	DateOrder          string // which stands first: day, month, year
	TimeZone           string // IANA name
	DistanceUnit       string // km, mi
	TemperatureUnit    string // c, f
	PressureUnit       string // kpa, psi
	Paper              string // a4, letter
	ComebackDays       int    // a job within so many days of the last one may be a comeback
	Cautions           string // the shop's own words beside the usual cautions
	ChangedAt          time.Time
}

const shopColumns = `name, address, phone, labour_per_hour_minor, currency, locale, language, date_order, time_zone,
	distance_unit, temperature_unit, pressure_unit, paper, comeback_days, cautions, changed_at`

// Shop returns the shop's data, or ErrNotFound before it was first saved.
func (s *Store) Shop(ctx context.Context) (Shop, error) {
	return one[Shop](ctx, s.pool, `SELECT `+shopColumns+` FROM shop`)
}

// SaveShop writes the shop's data; by is 0 when the program itself does it.
func (s *Store) SaveShop(ctx context.Context, by int64, shop Shop) error {
	return s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO shop (`+shopColumns+`, changed_by)
			VALUES ($1,$2,$3,$4,$5,$6,coalesce(nullif($7,''),'en'),coalesce(nullif($8,''),'day'),$9,$10,$11,$12,$13,$14,$15,$16,nullif($17,0))
			ON CONFLICT (id) DO UPDATE SET (`+shopColumns+`, changed_by) =
				($1,$2,$3,$4,$5,$6,coalesce(nullif($7,''),'en'),coalesce(nullif($8,''),'day'),$9,$10,$11,$12,$13,$14,$15,$16,nullif($17,0))`,
			shop.Name, shop.Address, shop.Phone, shop.LabourPerHourMinor, shop.Currency, shop.Locale, shop.Language, shop.DateOrder, shop.TimeZone,
			shop.DistanceUnit, shop.TemperatureUnit, shop.PressureUnit, shop.Paper, shop.ComebackDays, shop.Cautions, now, by)
		return err
	})
}
