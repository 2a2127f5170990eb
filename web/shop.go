package web

import (
	"context"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/currency"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

// usualShop is what a shop starts from before it has said anything.
var usualShop = store.Shop{
	LabourPerHourMinor: 12000, Currency: "USD", Locale: "en-US", Language: "en", DateOrder: "day", TimeZone: "UTC",
	DistanceUnit: "mi", TemperatureUnit: "f", PressureUnit: "psi", Paper: "letter", ComebackDays: 90,
}

// shop returns the shop's settings, the usual ones before it was first saved.
func (s *server) shop(ctx context.Context) (shop store.Shop, saved bool, err error) {
	shop, err = s.store.Shop(ctx)
	if errors.Is(err, store.ErrNotFound) {
		return usualShop, false, nil
	}
	return shop, true, err
}

// minorUnits is how many decimals a currency has (ISO 4217 by x/text).
func minorUnits(code string) int {
	u, err := currency.ParseISO(code)
	if err != nil {
		return 2
	}
	n, _ := currency.Standard.Rounding(u)
	return n
}

func fromMinor(minor int64, code string) float64 {
	return float64(minor) / math.Pow10(minorUnits(code))
}

// costs prices the engine's reckoning. A shop that works for nothing still counts
// minutes, at a price of one.
func costs(shop store.Shop) diag.Costs {
	return diag.Costs{LabourPerHour: max(fromMinor(shop.LabourPerHourMinor, shop.Currency), 1), Currency: shop.Currency}
}

func (s *server) shopView(w http.ResponseWriter, r *http.Request) (templates.ShopView, store.Shop, error) {
	v := templates.NewShop(s.page(w, r, templates.AtShop, templates.TitleShop))
	shop, saved, err := s.shop(r.Context())
	if err != nil {
		return v, shop, err
	}
	v.First = !saved
	v.Numbers.Options, v.Language.Options = numberStyles(), languages()
	if !slices.ContainsFunc(v.Numbers.Options, func(o templates.Option) bool { return o.Value == shop.Locale }) {
		v.Numbers.Options = append(v.Numbers.Options, templates.Option{Value: shop.Locale, Label: styleOf(shop.Locale).format(123450, 2) + " (" + shop.Locale + ")"})
	}
	taxes, err := s.store.TaxRates(r.Context())
	for _, t := range taxes {
		v.Taxes = append(v.Taxes, templates.TaxLine{ID: t.ID, Say: t.Name + ", " + styleOf(shop.Locale).short(int64(t.PPM), 4) + " %", Active: t.Active})
	}
	return v, shop, err
}

// saveTax adds a tax, or turns one on or off.
func (s *server) saveTax(w http.ResponseWriter, r *http.Request) error {
	v, shop, err := s.shopView(w, r)
	if err != nil {
		return err
	}
	who := viewer(r).PersonID
	if id := r.PostFormValue("turn"); id != "" {
		taxes, err := s.store.TaxRates(r.Context())
		if err != nil {
			return err
		}
		for _, t := range taxes {
			if strconv.FormatInt(t.ID, 10) == id {
				t.Active = !t.Active
				if _, err := s.store.SaveTaxRate(r.Context(), who, t); err != nil {
					return err
				}
			}
		}
		return see(w, r, "/shop#taxes")
	}
	f := form{r: r}
	t := store.TaxRate{Name: f.text(&v.TaxName, 80), PPM: int(f.decimal(&v.TaxRate, styleOf(shop.Locale), 4, 0, 1_000_000)), Active: true}
	if !f.bad() {
		_, err := s.store.SaveTaxRate(r.Context(), who, t)
		if err == nil {
			return see(w, r, "/shop#taxes")
		}
		if !f.take(err, &v.TaxName, &v.TaxRate) {
			return err
		}
	}
	s.fillShop(&v, shop)
	v.Refusal = f.refusal()
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Shop(v))
}

func (s *server) shopPage(w http.ResponseWriter, r *http.Request) error {
	v, shop, err := s.shopView(w, r)
	if err != nil {
		return err
	}
	s.fillShop(&v, shop)
	return s.render(w, r, http.StatusOK, templates.Shop(v))
}

// fillShop puts the settings into the form.
func (s *server) fillShop(v *templates.ShopView, shop store.Shop) {
	v.Name.Value, v.Address.Value, v.Phone.Value = shop.Name, shop.Address, shop.Phone
	v.Labour.Value, v.Numbers.Value = tillOf(shop, "").plain(shop.LabourPerHourMinor), shop.Locale
	v.Language.Value, v.Dates.Value = shop.Language, shop.DateOrder
	v.Currency.Value, v.TimeZone.Value = shop.Currency, shop.TimeZone
	v.Distance.Value, v.Temperature.Value, v.Pressure.Value, v.Paper.Value = shop.DistanceUnit, shop.TemperatureUnit, shop.PressureUnit, shop.Paper
	v.Comeback.Value, v.Caution.Value = strconv.Itoa(shop.ComebackDays), shop.Cautions
}

func (s *server) saveShop(w http.ResponseWriter, r *http.Request) error {
	v, shop, err := s.shopView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	shop.Name, shop.Address, shop.Phone = f.text(&v.Name, 200), f.text(&v.Address, 1000), f.text(&v.Phone, 60)
	shop.Currency = strings.ToUpper(f.text(&v.Currency, 3))
	if _, err := currency.ParseISO(shop.Currency); err != nil && shop.Currency != "" {
		f.wrong(&v.Currency, templates.SayNoCurrency)
	}
	if l := f.choice(&v.Numbers); l != "" {
		shop.Locale = l
	}
	shop.LabourPerHourMinor = f.amount(&v.Labour, tillOf(shop, ""), 0)
	v.Labour.Unit = ""
	if l := f.choice(&v.Language); l != "" {
		shop.Language = l
	}
	if o := f.choice(&v.Dates); o != "" {
		shop.DateOrder = o
	}
	shop.DistanceUnit, shop.TemperatureUnit = f.choice(&v.Distance), f.choice(&v.Temperature)
	shop.PressureUnit, shop.Paper = f.choice(&v.Pressure), f.choice(&v.Paper)
	shop.TimeZone = f.text(&v.TimeZone, 100)
	if _, err := time.LoadLocation(shop.TimeZone); shop.TimeZone != "" && (err != nil || shop.TimeZone == "Local") {
		f.wrong(&v.TimeZone, templates.SayNoTimeZone)
	}
	shop.ComebackDays = int(f.whole(&v.Comeback, 1, 3650))
	shop.Cautions = f.text(&v.Caution, 4000)
	if !f.bad() {
		err := s.store.SaveShop(r.Context(), viewer(r).PersonID, shop)
		if err == nil {
			s.say(w, templates.DidShop)
			return see(w, r, "/shop")
		}
		if !f.take(err, &v.Name, &v.Currency, &v.TimeZone, &v.Comeback) {
			return err
		}
	}
	v.Refusal = f.refusal()
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Shop(v))
}
