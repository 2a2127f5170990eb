package diag

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"crosscount/diag/obd"
	"crosscount/diag/say"
)

// Limits of a case. They keep hostile input small; a real job stays far below.
const (
	MaxEntries  = 1000
	MaxSensors  = 16
	maxBank     = 4
	maxPosition = 4
	maxRepairs  = 20
)

// Check finds everything wrong with a case.
func (c Case) Check() Problems {
	var ps Problems
	if c.Version != CaseVersion {
		ps.add("case", say.T("version %d is not known here", c.Version), say.T("this program reads version %d", CaseVersion))
	}
	ps = append(ps, c.Vehicle.Check().under("vehicle")...)
	if len(c.Evidence) > MaxEntries {
		ps.add("evidence", say.T("%d entries are too many", len(c.Evidence)), say.T("send at most %d", MaxEntries))
		return ps
	}
	for i, e := range c.Evidence {
		ps = append(ps, e.Check(c.Vehicle).under(fmt.Sprintf("evidence[%d]", i))...)
		if e.Kind == KindCar {
			ps.add(fmt.Sprintf("evidence[%d].kind", i), say.T("a case has no order in which a car entry would tell how the car stands now"), say.T("name what is in place under ready"))
		}
	}
	ps = append(ps, c.checkReady()...)
	ps = append(ps, c.Costs.Check().under("costs")...)
	return ps
}

// Check finds everything wrong with the prices.
func (c Costs) Check() Problems {
	var ps Problems
	if !(c.LabourPerHour > 0 && c.LabourPerHour <= 100000) {
		ps.add("labour_per_hour", say.T("%g cannot be a labour rate", c.LabourPerHour), say.T("give the shop's price of an hour, above 0 and up to 100000"))
	}
	if len(c.Currency) != 3 || strings.Trim(c.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		ps.add("currency", say.T("not a currency code"), say.T("use the three capital letters of ISO 4217, such as USD"))
	}
	for _, id := range slices.Sorted(maps.Keys(c.TestMinutes)) {
		at := "test_minutes." + clip(id)
		if _, ok := TestByID(id); !ok {
			ps.add(at, say.T("there is no such test"), say.T("take it out, or correct the test's id"))
		} else if m := c.TestMinutes[id]; !(m > 0 && m <= 600) {
			ps.add(at, say.T("%g minutes cannot be what a test takes", m), say.T("give minutes above 0 and up to 600"))
		}
	}
	return ps
}

// Check finds everything wrong with a vehicle and its sensor layout.
func (v Vehicle) Check() Problems {
	var ps Problems
	if v.Cylinders < 1 || v.Cylinders > 16 {
		ps.add("cylinders", say.T("%d cylinders cannot be right", v.Cylinders), say.T("give a whole number from 1 to 16"))
	}
	if !slices.Contains(Arrangements, v.Arrangement) {
		ps.add("arrangement", say.T("unknown arrangement"), oneOf(Arrangements))
	}
	if !(v.DisplacementL >= 0.1 && v.DisplacementL <= 15) {
		ps.add("displacement_l", say.T("%g litres cannot be right", v.DisplacementL), say.T("give a number from 0.1 to 15 litres"))
	}
	if !slices.Contains(Fuels, v.Fuel) {
		ps.add("fuel", say.T("unknown fuel"), say.T("%s; the signs of other fuels are not in the model", oneOf(Fuels)))
	}
	if !slices.Contains(AirMeterings, v.AirMetering) {
		ps.add("air_metering", say.T("unknown way of metering air"), oneOf(AirMeterings))
	}
	if v.OdometerKm < 0 || v.OdometerKm > 3000000 {
		ps.add("odometer_km", say.T("%s cannot be right", say.Quantity{Value: float64(v.OdometerKm), Unit: "km"}), say.T("give kilometres from 0 to 3000000; leave it out if unknown"))
	}
	if len(v.Sensors) == 0 {
		ps.add("sensors", say.T("the car has no sensor"), say.T("name at least the sensor ahead of the converter"))
	}
	if len(v.Sensors) > MaxSensors {
		ps.add("sensors", say.T("%d sensors are too many", len(v.Sensors)), say.T("name at most %d", MaxSensors))
		return ps
	}
	for i, s := range v.Sensors {
		at := func(f string) string { return fmt.Sprintf("sensors[%d].%s", i, f) }
		bankOK := s.Bank >= 1 && s.Bank <= maxBank
		if !bankOK {
			ps.add(at("bank"), say.T("there is no bank %d", s.Bank), say.T("banks count from 1 to %d; bank 1 holds cylinder 1", maxBank))
		}
		posOK := s.Position >= 1 && s.Position <= maxPosition
		if !posOK {
			ps.add(at("position"), say.T("there is no position %d", s.Position), say.T("positions count from 1 to %d along the exhaust; 1 is ahead of the converter", maxPosition))
		}
		if w, ok := wiresOf[s.Kind]; !ok {
			ps.add(at("kind"), say.T("unknown kind of sensor"), oneOf(SensorKinds))
		} else if s.Wires < w[0] || s.Wires > w[1] {
			ps.add(at("wires"), say.T("a %s sensor does not have %d wires", say.T(strings.ReplaceAll(string(s.Kind), "_", "-")), s.Wires), say.T("give %d to %d", w[0], w[1]))
		}
		if !bankOK || !posOK {
			continue
		}
		for j, o := range v.Sensors[:i] {
			if o.Bank == s.Bank && o.Position == s.Position {
				ps.add(at("position"), say.T("bank %d position %d is already sensors[%d]", s.Bank, s.Position, j), say.T("keep one sensor for each location"))
			} else if o.Position == s.Position && (o.Common || s.Common) {
				ps.add(at("common"), say.T("sensors[%d] is at position %d too, yet one of them stands for all banks", j, s.Position), say.T("a common sensor is the only one at its position"))
			}
		}
		if s.Common && s.Bank != 1 {
			ps.add(at("bank"), say.T("a common sensor belongs to bank 1"), say.T("name it as bank 1"))
		}
	}
	if len(ps) > 0 {
		return ps
	}
	for b := 1; b <= v.Banks(); b++ {
		if _, ok := v.Front(b); !ok {
			ps.add("sensors", say.T("bank %d has no sensor ahead of the converter", b), say.T("add bank %d position 1, or mark the one position-1 sensor as common", b))
		}
	}
	return ps
}

// Banks is the number of banks, at least 1: the highest bank among the sensors,
// and 2 where one common sensor stands behind the banks of a v or flat engine.
func (v Vehicle) Banks() int {
	n := 1
	for _, s := range v.Sensors {
		n = max(n, min(s.Bank, maxBank))
		if s.Common && v.Arrangement != "inline" {
			n = max(n, 2)
		}
	}
	return n
}

// Front gives the sensor that steers a bank's mixture: position 1 of that bank,
// or a common position 1.
func (v Vehicle) Front(bank int) (Sensor, bool) { return v.at(bank, 1) }

// At gives the sensor at a location. A common sensor answers for every bank.
func (v Vehicle) At(bank, position int) (Sensor, bool) { return v.at(bank, position) }

func (v Vehicle) at(bank, position int) (Sensor, bool) {
	for _, s := range v.Sensors {
		if s.Position == position && (s.Bank == bank || s.Common) {
			return s, true
		}
	}
	return Sensor{}, false
}

// Heated tells whether the sensor has a heater of its own.
func (s Sensor) Heated() bool { return s.Wires >= 3 }

// SignalGround tells whether the signal has a ground wire of its own rather than
// the exhaust (trade knowledge: 2-wire and 4-wire zirconia, and the other kinds).
func (s Sensor) SignalGround() bool { return s.Kind != Zirconia || s.Wires == 2 || s.Wires >= 4 }

type numberRule struct {
	name   string
	unit   string
	lo, hi float64
	get    func(*Entry) **float64
}

// The ranges are what an instrument can show, not what is good: a wild but
// possible reading is evidence, an impossible one is a slip.
var numberRules = []numberRule{
	{"short_pct", "%", -100, 100, func(e *Entry) **float64 { return &e.ShortPct }},
	{"long_pct", "%", -100, 100, func(e *Entry) **float64 { return &e.LongPct }},
	{"min_v", "V", -2, 16, func(e *Entry) **float64 { return &e.MinV }},
	{"max_v", "V", -2, 16, func(e *Entry) **float64 { return &e.MaxV }},
	{"mean_v", "V", -2, 16, func(e *Entry) **float64 { return &e.MeanV }},
	{"crossings_hz", "Hz", 0, 50, func(e *Entry) **float64 { return &e.CrossingsHz }},
	{"lean_rich_ms", "ms", 0, 60000, func(e *Entry) **float64 { return &e.LeanRichMs }},
	{"rich_lean_ms", "ms", 0, 60000, func(e *Entry) **float64 { return &e.RichLeanMs }},
	{"volts", "V", -2, 16, func(e *Entry) **float64 { return &e.Volts }},
	{"ms", "ms", 0, 60000, func(e *Entry) **float64 { return &e.Ms }},
	{"ohm", "ohm", 0, 1e8, func(e *Entry) **float64 { return &e.Ohm }},
	{"ohm_low", "ohm", 0, 1000, func(e *Entry) **float64 { return &e.OhmLow }},
	{"ohm_high", "ohm", 0, 1000, func(e *Entry) **float64 { return &e.OhmHigh }},
	{"feed_v", "V", 0, 32, func(e *Entry) **float64 { return &e.FeedV }},
	{"ground_drop_v", "V", 0, 32, func(e *Entry) **float64 { return &e.GroundDropV }},
	{"warm_up_s", "s", 0, 3600, func(e *Entry) **float64 { return &e.WarmUpS }},
	{"co_pct", "%", 0, 20, func(e *Entry) **float64 { return &e.COPct }},
	{"co2_pct", "%", 0, 20, func(e *Entry) **float64 { return &e.CO2Pct }},
	{"o2_pct", "%", 0, 25, func(e *Entry) **float64 { return &e.O2Pct }},
	{"hc_ppm", "ppm", 0, 60000, func(e *Entry) **float64 { return &e.HCPpm }},
	{"nox_ppm", "ppm", 0, 20000, func(e *Entry) **float64 { return &e.NOxPpm }},
	{"value", "", 0.4, 4, func(e *Entry) **float64 { return &e.Value }},
	{"kpa", "kPa", 0, 50000, func(e *Entry) **float64 { return &e.KPa }},
	{"kpa_low", "kPa", 10, 50000, func(e *Entry) **float64 { return &e.KPaLow }},
	{"kpa_high", "kPa", 10, 50000, func(e *Entry) **float64 { return &e.KPaHigh }},
	{"rpm", "rpm", 100, 15000, func(e *Entry) **float64 { return &e.RPM }},
	{"g_per_s", "g/s", 0, 2000, func(e *Entry) **float64 { return &e.GPerS }},
	{"intake_c", "°C", -60, 150, func(e *Entry) **float64 { return &e.IntakeC }},
	{"baro_kpa", "kPa", 40, 115, func(e *Entry) **float64 { return &e.BaroKPa }},
}

type wordRule struct {
	name  string
	words []string // nil: checked elsewhere
	get   func(*Entry) string
}

var wordRules = []wordRule{
	{"state", States, func(e *Entry) string { return e.State }},
	{"code", nil, func(e *Entry) string { return e.Code }},
	{"status", Statuses, func(e *Entry) string { return e.Status }},
	{"mixture", Mixtures, func(e *Entry) string { return e.Mixture }},
	{"result", nil, func(e *Entry) string { return e.Result }},
	{"look", TipLooks, func(e *Entry) string { return e.Look }},
	{"test", nil, func(e *Entry) string { return e.Test }},
	{"outcome", nil, func(e *Entry) string { return e.Outcome }},
	{"remark", Remarks, func(e *Entry) string { return e.Remark }},
	{"cause", nil, func(e *Entry) string { return e.Cause }},
}

var boolRules = []struct {
	name string
	get  func(*Entry) *bool
}{
	{"holds", func(e *Entry) *bool { return e.Holds }},
	{"wide_open", func(e *Entry) *bool { return e.WideOpen }},
}

// fieldOrder lists every field an entry can have, so that problems come in a
// fixed order.
var fieldOrder = func() []string {
	out := []string{"bank", "position"}
	for _, r := range wordRules {
		out = append(out, r.name)
	}
	for _, r := range numberRules {
		out = append(out, r.name)
	}
	for _, r := range boolRules {
		out = append(out, r.name)
	}
	return out
}()

// shape says which fields an entry kind has.
type shape struct {
	must  []string // all of them
	some  []string // at least one
	other []string // may be there
}

var shapes = map[EntryKind]shape{
	KindCode:         {must: []string{"code"}, other: []string{"status"}},
	KindTrim:         {must: []string{"bank", "state"}, some: []string{"short_pct", "long_pct"}},
	KindSignal:       {must: []string{"bank", "position", "state"}, some: []string{"min_v", "max_v", "mean_v", "crossings_hz", "lean_rich_ms", "rich_lean_ms"}},
	KindForced:       {must: []string{"bank", "position", "mixture"}, some: []string{"volts", "ms"}},
	KindHeater:       {must: []string{"bank", "position"}, some: []string{"ohm", "feed_v", "ground_drop_v", "warm_up_s"}, other: []string{"ohm_low", "ohm_high"}},
	KindCircuit:      {must: []string{"bank", "position", "result"}},
	KindConnector:    {must: []string{"bank", "position", "result"}},
	KindTip:          {must: []string{"bank", "position", "look"}},
	KindGas:          {must: []string{"state"}, some: []string{"co_pct", "co2_pct", "o2_pct", "hc_ppm", "nox_ppm"}},
	KindLambda:       {must: []string{"state", "value"}},
	KindFuelPressure: {some: []string{"kpa", "holds"}, other: []string{"kpa_low", "kpa_high"}},
	KindAirflow:      {must: []string{"rpm", "g_per_s"}, other: []string{"intake_c", "baro_kpa", "wide_open"}},
	KindResult:       {must: []string{"test", "outcome"}, other: []string{"bank", "position"}},
	KindHistory:      {must: []string{"remark"}, other: []string{"bank", "position"}},
	KindCodeList:     {must: []string{"status"}},
	KindCar:          {must: []string{"result"}},
	KindRepair:       {must: []string{"cause"}, other: []string{"bank", "position"}},
}

// Fields lists the JSON field names an entry kind may carry, required ones first.
func (k EntryKind) Fields() []string {
	s := shapes[k]
	return slices.Concat(s.must, s.some, s.other)
}

// Check finds everything wrong with one entry on this car. Paths are field names.
func (e Entry) Check(v Vehicle) Problems {
	var ps Problems
	s, ok := shapes[e.Kind]
	if !ok {
		ps.add("kind", say.T("unknown kind of entry"), oneOf(kindWords()))
		return ps
	}
	given := map[string]bool{}
	if e.Bank != 0 {
		given["bank"] = true
	}
	if e.Position != 0 {
		given["position"] = true
	}
	for _, r := range wordRules {
		w := r.get(&e)
		if w == "" {
			continue
		}
		given[r.name] = true
		if r.words != nil && !slices.Contains(r.words, w) {
			ps.add(r.name, say.T("%q is not known", clip(w)), oneOf(r.words))
		}
	}
	for _, r := range numberRules {
		x := *r.get(&e)
		if x == nil {
			continue
		}
		given[r.name] = true
		if math.IsNaN(*x) || *x < r.lo || *x > r.hi {
			reason, mend := outOfRange(*x, r.lo, r.hi, r.unit)
			ps.add(r.name, reason, mend)
		}
	}
	for _, r := range boolRules {
		if r.get(&e) != nil {
			given[r.name] = true
		}
	}

	belongs := e.Kind.Fields()
	for _, f := range fieldOrder {
		if given[f] && !slices.Contains(belongs, f) {
			ps.add(f, say.T("a %s entry has no %s", say.T(e.Kind.Name()), f), say.T("take it out, or choose the kind of entry it belongs to"))
		}
	}
	if e.Frame && e.Kind != KindTrim {
		ps.add("frame", say.T("a %s entry has no %s", say.T(e.Kind.Name()), "frame"), say.T("take it out, or choose the kind of entry it belongs to"))
	}
	for _, f := range s.must {
		if !given[f] {
			ps.add(f, say.T("missing"), say.T("fill it in"))
		}
	}
	if len(s.some) > 0 && !slices.ContainsFunc(s.some, func(f string) bool { return given[f] }) {
		ps.add(s.some[0], say.T("nothing was measured"), say.T("give at least one of: %s", strings.Join(s.some, ", ")))
	}

	if e.AfterRepair < 0 || e.AfterRepair > maxRepairs {
		ps.add("after_repair", say.T("%d repairs cannot be right", e.AfterRepair), say.T("give the repairs before this entry, from 1 to %d, or leave it out where there was none", maxRepairs))
	} else if e.Kind == KindRepair && e.AfterRepair == 0 {
		ps.add("after_repair", say.T("missing"), say.T("number the repairs from 1"))
	}
	e.checkWords(&ps)
	e.checkPlace(v, &ps)
	e.checkTogether(&ps)
	return ps
}

// checkWords checks the words whose meaning depends on the entry.
func (e Entry) checkWords(ps *Problems) {
	switch e.Kind {
	case KindCode:
		if e.Code == "" {
			return
		}
		c, err := obd.ParseCode(e.Code)
		if err != nil {
			reason, mend := say.T(err.Error()), say.T("a code is a letter and four characters, such as P0171")
			if ce, ok := err.(*obd.CodeError); ok {
				reason, mend = ce.Problem, ce.Mend
			}
			ps.add("code", reason, mend)
		} else if c == 0 {
			ps.add("code", say.T("P0000 means that no code is stored"), say.T("leave the entry out"))
		}
	case KindCodeList:
		if e.Status == "permanent" {
			ps.add("status", say.T("nothing is concluded from a list of permanent codes"), say.T("use stored or pending"))
		}
	case KindRepair:
		if e.Cause != "" && !slices.Contains(repairWords(), e.Cause) {
			ps.add("cause", say.T("%q is not known", clip(e.Cause)), say.T("use new_sensor or the id of a cause"))
		}
	case KindCar:
		if states := append(setUpIDs(), OffLift); e.Result != "" && !slices.Contains(states, e.Result) {
			ps.add("result", say.T("%q is not known", clip(e.Result)), oneOf(states))
		}
	case KindCircuit:
		e.checkOutcome("signal_circuit", "result", e.Result, ps)
	case KindConnector:
		e.checkOutcome("connector_look", "result", e.Result, ps)
	case KindResult:
		if e.Test == "" {
			return
		}
		t, ok := TestByID(e.Test)
		if !ok || t.Entry != KindResult {
			ps.add("test", say.T("%q has no such result", clip(e.Test)), oneOf(resultTests()))
			return
		}
		e.checkOutcome(e.Test, "outcome", e.Outcome, ps)
	}
}

func (e Entry) checkOutcome(test, field, word string, ps *Problems) {
	if word == "" {
		return
	}
	t, _ := TestByID(test)
	words := make([]string, len(t.Outcomes))
	for i, o := range t.Outcomes {
		words[i] = o.ID
	}
	if !slices.Contains(words, word) {
		ps.add(field, say.T("%q is not an outcome of this test", clip(word)), oneOf(words))
	}
}

// checkPlace checks that the bank and position are on this car and that the
// entry can be about the sensor there.
func (e Entry) checkPlace(v Vehicle, ps *Problems) {
	needBank, needPosition := false, false
	switch e.Kind {
	case KindSignal, KindForced, KindHeater, KindCircuit, KindConnector, KindTip, KindTrim:
	case KindHistory:
		if e.Position != 0 && e.Bank == 0 {
			ps.add("bank", say.T("a position without its bank"), say.T("name the bank too"))
		}
	case KindRepair:
		scope := ScopeSensor
		if e.Cause != NewSensor {
			k, ok := CauseByID(e.Cause)
			if !ok {
				return
			}
			scope = k.Scope
		}
		switch {
		case scope == ScopeEngine && e.Bank != 0:
			ps.add("bank", say.T("this cause has no bank"), say.T("take it out"))
		case scope != ScopeEngine && e.Bank == 0:
			ps.add("bank", say.T("missing"), say.T("name the bank"))
		case scope == ScopeSensor && e.Position == 0:
			ps.add("position", say.T("missing"), say.T("name the position of the sensor"))
		case scope != ScopeSensor && e.Position != 0:
			ps.add("position", say.T("this cause is not at one sensor"), say.T("take it out"))
		}
	case KindResult:
		t, ok := TestByID(e.Test)
		if !ok {
			return
		}
		for _, o := range t.Outcomes {
			if o.ID == e.Outcome {
				needBank = o.NeedsBank || t.Scope == ScopeSensor
				needPosition = t.Scope == ScopeSensor
			}
		}
		if t.Scope != ScopeSensor && e.Position != 0 {
			ps.add("position", say.T("this test is not about one sensor"), say.T("take it out"))
		}
		if needBank && e.Bank == 0 && v.Banks() > 1 || needPosition && e.Bank == 0 {
			ps.add("bank", say.T("missing"), say.T("name the bank: this outcome is about one bank"))
		}
		if needPosition && e.Position == 0 {
			ps.add("position", say.T("missing"), say.T("name the position of the sensor"))
		}
	case KindCode:
		c, err := obd.ParseCode(e.Code)
		if err != nil {
			return
		}
		m, ok := c.Meaning()
		if !ok || m.Bank == 0 {
			return
		}
		if m.Bank > v.Banks() {
			ps.add("code", say.T("%s is about bank %d, which this car has not got", c, m.Bank), say.T("correct the code, or add the bank to the car's sensor layout"))
		} else if m.NamesSensor && m.Position > 0 {
			if _, ok := v.at(m.Bank, m.Position); !ok {
				ps.add("code", say.T("%s is about a sensor at bank %d position %d, which this car has not got", c, m.Bank, m.Position), say.T("correct the code, or add the sensor to the car's layout"))
			}
		}
		return
	default:
		return // a bank there has been refused as not belonging
	}
	if e.Bank != 0 && (e.Bank < 1 || e.Bank > v.Banks()) {
		mend := say.T("this car has bank 1 only")
		if n := v.Banks(); n > 1 {
			mend = say.T("this car has banks 1 to %d", n)
		}
		ps.add("bank", say.T("this car has no bank %d", e.Bank), mend)
		return
	}
	if e.Position == 0 {
		return
	}
	s, ok := v.at(e.Bank, e.Position)
	if !ok {
		if e.Bank != 0 {
			ps.add("position", say.T("this car has no sensor at bank %d position %d", e.Bank, e.Position), say.T("use one of: %s", sensorList(v)))
		}
		return
	}
	switch {
	case e.Kind == KindHeater && !s.Heated():
		ps.add("position", say.T("the %d-wire sensor there has no heater", s.Wires), say.T("take the entry out, or correct the wires in the car's layout"))
	}
}

func sensorList(v Vehicle) say.Text {
	var out []say.Text
	for _, s := range v.Sensors {
		out = append(out, placeWords(CauseRef{Bank: s.Bank, Position: s.Position}))
	}
	return say.List(out)
}

// checkTogether checks fields against each other.
func (e Entry) checkTogether(ps *Problems) {
	pair := func(loName, hiName string, lo, hi, x *float64, what say.Text) {
		switch {
		case (lo == nil) != (hi == nil):
			f := hiName
			if lo == nil {
				f = loName
			}
			ps.add(f, say.T("a range has two ends"), say.T("give both ends of the maker's range, or neither"))
		case lo != nil && *lo >= *hi:
			ps.add(hiName, say.T("the upper end is not above the lower"), say.T("exchange the two or correct one"))
		case lo != nil && x == nil:
			ps.add(loName, say.T("a range without a reading"), what)
		}
	}
	switch e.Kind {
	case KindHeater:
		pair("ohm_low", "ohm_high", e.OhmLow, e.OhmHigh, e.Ohm, say.T("give the resistance that was measured"))
	case KindFuelPressure:
		pair("kpa_low", "kpa_high", e.KPaLow, e.KPaHigh, e.KPa, say.T("give the pressure that was measured"))
	case KindSignal:
		if e.MinV != nil && e.MaxV != nil && *e.MinV > *e.MaxV {
			ps.add("max_v", say.T("below the lowest voltage"), say.T("exchange min_v and max_v or correct one"))
		} else if e.MeanV != nil && (e.MinV != nil && *e.MeanV < *e.MinV || e.MaxV != nil && *e.MeanV > *e.MaxV) {
			ps.add("mean_v", say.T("outside the lowest and highest voltage"), say.T("correct one of the three"))
		}
	case KindTrim:
		if e.ShortPct != nil && e.LongPct != nil && math.Abs(*e.ShortPct+*e.LongPct) > 150 {
			ps.add("short_pct", say.T("short and long trim together cannot be so large"), say.T("read both again"))
		}
	case KindGas:
		sum := 0.0
		for _, p := range []*float64{e.COPct, e.CO2Pct, e.O2Pct} {
			if p != nil {
				sum += *p
			}
		}
		if sum > 30 {
			ps.add("co2_pct", say.T("CO, CO2 and O2 add up to %g %%, more than exhaust gas can hold", sum), say.T("read the instrument again; each is per cent by volume"))
		}
	}
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
