package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"

	"crosscount/diag"
	"crosscount/diag/chem"
	"crosscount/diag/picture"
	"crosscount/diag/say"
	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
	"crosscount/store"
	"crosscount/templates"
)

// beforeAfter finds sensors recorded before the repair and after it.
func (d *desk) beforeAfter(theme string) []templates.PictureView {
	since := d.Job.RepairedAt
	if since == nil {
		return nil
	}
	var out []templates.PictureView
	for _, sn := range d.Sensors {
		var before, after string
		for _, c := range d.Captures {
			if c.ReplacedBy != nil || !d.recorded(c, sn.Bank, sn.Position) {
				continue
			}
			if c.At.Before(*since) {
				before = c.ID
			} else {
				after = c.ID
			}
		}
		if before != "" && after != "" {
			q := url.Values{"before": {before}, "after": {after}, "at": {placeKey(sn.Bank, sn.Position)}, "theme": {theme}, "in": {d.drawnIn()}}
			out = append(out, templates.PictureView{Src: d.base() + "/overlay.svg?" + q.Encode(), Title: templates.OverlayTitle(d.l, d.spotWords(sn.Bank, sn.Position))})
		}
	}
	return out
}

// recorded says whether a capture holds a narrow-band sensor's voltage.
func (d *desk) recorded(c store.Capture, bank, position int) bool {
	if c.Kind == store.CaptureResponses {
		_, res, err := takenBack(c)
		return err == nil && res != nil && channelAt(res, bank, position) != nil
	}
	_, res := c2result(c)
	return channelAt(res, bank, position) != nil
}

func channelAt(res *signal.Result, bank, position int) *signal.Channel {
	for i, c := range res.Channels {
		if c.Narrow != nil && c.Bank == bank && c.Position == position {
			return &res.Channels[i]
		}
	}
	return nil
}

// overlay draws one sensor before the repair and after it.
func (s *server) overlay(w http.ResponseWriter, r *http.Request) error {
	d, err := s.plainDesk(r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	before, ok1 := d.capture(q.Get("before"))
	after, ok2 := d.capture(q.Get("after"))
	bank, position, ok := placeIn(q.Get("at"))
	if !ok1 || !ok2 || !ok || position == 0 {
		return trouble(templates.TroubleNotFound, "")
	}
	var traces [2]*picture.Trace
	err = s.measured(r.Context(), func() error {
		for i, c := range []store.Capture{before, after} {
			var err error
			if traces[i], err = s.traceOf(r.Context(), c, bank, position); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	f := picture.Frame{Words: d.l.T, Title: templates.OverlayTitle(d.l, d.spotWords(bank, position)), Desc: before.FileName + "; " + after.FileName}
	return sendPicture(w, r, picture.Overlay(f, "V", draw.Levels(signal.DefaultLimits(), f),
		picture.Series{Label: f.T(templates.BeforeWord), Trace: traces[0]}, picture.Series{Label: f.T(templates.AfterWord), Trace: traces[1]}).SVG())
}

// curveAt are the temperatures of the tip for which the curve is drawn, °C.
var curveAt = []float64{600, 800}

// curve draws an ideal cell's voltage against lambda with a reading on it.
func (s *server) curve(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	l := tongue(r)
	p := picture.CurvePoint{Label: l.T(templates.MeasuredWord)}
	for name, to := range map[string]*float64{"l": &p.Lambda, "lu": &p.LambdaUnc, "v": &p.Volts, "vu": &p.VoltsUnc} {
		*to = math.NaN()
		if t := q.Get(name); t != "" {
			n, _, ok := number(t)
			if !ok {
				return trouble(templates.TroubleNotFound, "")
			}
			*to = n
		} else if name == "lu" || name == "vu" {
			*to = 0
		}
	}
	k := picture.Curve{Frame: picture.Frame{Title: l.T(templates.CurveTitle), Desc: l.T(templates.CurveDesc), Words: l.T}, Readings: []picture.CurvePoint{p}}
	for _, c := range curveAt {
		line := picture.CurveLine{Label: l.T("at %s", say.Quantity{Value: c, Unit: "°C"})}
		for i := range 121 {
			lambda := 0.94 + 0.001*float64(i)
			v, err := chem.PetrolBalance.VoltageAt(lambda, chem.Kelvin(c))
			if err != nil {
				return err
			}
			line.Lambda, line.At = append(line.Lambda, lambda), append(line.At, v)
		}
		k.Lines = append(k.Lines, line)
	}
	return sendPicture(w, r, k.SVG())
}

// drawnIn is part of a drawing's address that changes with the language and the units in
// which it is drawn: browsers keep drawings.
func (d *desk) drawnIn() string { return d.l.Code() + d.l.Decimal + d.l.Unit("°C") }

// curveSrc is the address of a curve. A NaN is not known.
func (d *desk) curveSrc(theme string, lambda, lambdaUnc, volts, voltsUnc float64) *templates.PictureView {
	q := url.Values{"theme": {theme}, "in": {d.drawnIn()}}
	for name, v := range map[string]float64{"l": lambda, "lu": lambdaUnc, "v": volts, "vu": voltsUnc} {
		if !math.IsNaN(v) {
			q.Set(name, trim(v))
		}
	}
	return &templates.PictureView{Src: "/curve.svg?" + q.Encode(), Title: templates.CurveTitle}
}

// captureCurve shows what a sensor's mean voltage says beside the lambda of the gas.
func (d *desk) captureCurve(c store.Capture, res *signal.Result, theme string) *templates.PictureView {
	for _, ch := range res.Channels {
		if ch.Narrow == nil {
			continue
		}
		mean, ok := ch.Mean.Get()
		if !ok {
			continue
		}
		lambda, u := d.gasLambda()
		return d.curveSrc(theme, lambda, u, mean, ch.Mean.Uncertainty)
	}
	return nil
}

// gasLambda is the last lambda known of the exhaust, with its expanded uncertainty;
// NaN without one.
func (d *desk) gasLambda() (lambda, u float64) {
	for _, e := range slices.Backward(d.used) {
		b := e.Body
		switch {
		case b.Kind == diag.KindLambda && b.Value != nil:
			return *b.Value, 0.01 // an analyser's last digit
		case b.Kind == diag.KindGas && b.COPct != nil && b.CO2Pct != nil && b.O2Pct != nil:
			g := chem.Gas{CO: *b.COPct, CO2: *b.CO2Pct, O2: *b.O2Pct}
			if b.HCPpm != nil {
				g.HC = *b.HCPpm
			}
			if b.NOxPpm != nil {
				g.NOx = *b.NOxPpm
			}
			if m, err := chem.Brettschneider.Measure(g, chem.ClassI); err == nil {
				return m.Lambda, 2 * m.U
			}
		}
	}
	return math.NaN(), 0
}

// jobPictures are the drawings of what is known: trims by state, and the voltage of
// the front sensor against lambda.
func (d *desk) jobPictures(theme string) []templates.PictureView {
	var out []templates.PictureView
	states := map[string]bool{}
	for _, e := range d.used {
		if e.Body.Kind == diag.KindTrim && !e.Body.Frame {
			states[fmt.Sprint(e.Body.Bank, e.Body.State)] = true
		}
	}
	if len(states) > 1 {
		out = append(out, templates.PictureView{Src: fmt.Sprintf("%s/trims.svg?n=%d&theme=%s&in=%s", d.base(), d.lastSeq(), theme, url.QueryEscape(d.drawnIn())), Title: d.l.T(templates.TrimsTitle)})
	}
	if lambda, u := d.gasLambda(); !math.IsNaN(lambda) {
		volts := math.NaN()
		for _, e := range slices.Backward(d.used) {
			if b := e.Body; b.Kind == diag.KindSignal && b.Position == 1 && b.MeanV != nil {
				volts = *b.MeanV
				break
			}
		}
		out = append(out, *d.curveSrc(theme, lambda, u, volts, 0))
	}
	return out
}

// lastSeq makes the address of a drawing change when the log does.
func (d *desk) lastSeq() int64 {
	var n int64
	for _, e := range d.Entries {
		n = max(n, e.Seq)
		if e.WithdrawnAt != nil {
			n = max(n, e.WithdrawnAt.Unix())
		}
	}
	return n
}

// trimsPicture draws the trims in the log by state, the latest of each. Those of a freeze
// frame are of another time, so they are no part of it.
func (s *server) trimsPicture(w http.ResponseWriter, r *http.Request) error {
	d, err := s.plainDesk(r)
	if err != nil {
		return err
	}
	t := picture.Trims{Frame: picture.Frame{Title: d.l.T(templates.TrimsTitle), Desc: carName(d.Vehicle), Words: d.l.T},
		Levels: []picture.Level{{Value: -10, Label: "\u221210 %"}, {Value: 10, Label: "+10 %"}}}
	for bank := range d.car.Banks() {
		for _, state := range diag.States {
			i := -1
			for j, e := range d.used {
				if e.Body.Kind == diag.KindTrim && !e.Body.Frame && e.Body.Bank == bank+1 && e.Body.State == state {
					i = j
				}
			}
			if i < 0 {
				continue
			}
			b := d.used[i].Body
			row := picture.TrimRow{State: templates.StateWord(d.l, state), Bank: templates.BankWords(d.l, bank+1)}
			if b.ShortPct != nil {
				row.Dots = append(row.Dots, picture.Dot{Name: t.T("short-term"), Value: *b.ShortPct})
			}
			if b.LongPct != nil {
				row.Dots = append(row.Dots, picture.Dot{Name: t.T("long-term"), Value: *b.LongPct})
			}
			if b.ShortPct != nil && b.LongPct != nil {
				row.Dots = append(row.Dots, picture.Dot{Name: t.T("total"), Value: *b.ShortPct + *b.LongPct})
			}
			t.Rows = append(t.Rows, row)
		}
	}
	if len(t.Rows) == 0 {
		return trouble(templates.TroubleNotFound, "")
	}
	return sendPicture(w, r, t.SVG())
}
