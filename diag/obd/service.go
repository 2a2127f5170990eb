package obd

import (
	"bytes"
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"crosscount/diag/say"
)

// seriesKey names a channel before its place is known.
type seriesKey struct {
	module   Module
	pid      byte
	quantity Quantity
	bank     int
}

type series struct {
	Series
	slot int // 1 to 8 until the layout is known
}

// identity gathers what a module says of itself in parts.
type identity struct {
	Identity
	vinParts [6][]byte // older buses: four bytes each, from 1
	vinLine  int
}

// service decodes one answer by its first byte.
func (d *decoder) service(m message) {
	data := m.payload[1:]
	understood := true
	switch m.payload[0] {
	case 0x41:
		understood = d.current(m, data)
	case 0x42:
		understood = d.freezeFrame(m, data)
	case 0x43:
		d.codes(m, data, Stored)
	case 0x47:
		d.codes(m, data, Pending)
	case 0x4A:
		d.codes(m, data, Permanent)
	case 0x44:
		d.result.Cleared = true
	case 0x45:
		understood = d.sensorTest(m, data)
	case 0x46:
		understood = d.monitorTest(m, data)
	case 0x49:
		understood = d.vehicleInfo(m, data)
	case 0x7F:
		d.refusal(m, data)
		return
	default:
		d.notes.add(m.line, Ignored, say.T("answer of service %02X, which is not read", m.payload[0]-0x40), "")
		return
	}
	if understood {
		d.result.Messages++
	}
}

func (d *decoder) refusal(m message, data []byte) {
	if len(data) < 2 {
		d.notes.add(m.line, Ignored, say.T("a request was refused"), "")
		return
	}
	reason := map[byte]string{
		0x10: "no reason given", 0x11: "service not supported", 0x12: "request not supported",
		0x21: "busy", 0x22: "conditions not right", 0x31: "out of range", 0x78: "answer comes later",
	}[data[1]]
	if reason == "" {
		d.notes.add(m.line, Ignored, say.T("service %02X was refused: reason %02X", data[0], data[1]), "")
		return
	}
	d.notes.add(m.line, Ignored, say.T("service %02X was refused: %s", data[0], say.T(reason)), "")
}

// item is one PID with its data.
type item struct {
	pid  byte
	data []byte
}

// splitPIDs cuts the data of service 01 (frame false) or 02 (frame true: a
// frame number follows each PID) into PIDs. The exact cover is sought, since some
// PIDs have two lengths; without one the PIDs are read from the front and rest is
// what is left. frameNo is that of the first PID.
func splitPIDs(data []byte, frame bool) (items []item, rest []byte) {
	head := 1
	if frame {
		head = 2
	}
	if len(data) <= 64 {
		var dead uint64 // offsets from which no exact cover leads to the end
		var cover func(at int) bool
		cover = func(at int) bool {
			if at == len(data) {
				return true
			}
			if at+head > len(data) || dead&(1<<at) != 0 {
				return false
			}
			if p := pids[data[at]]; p != nil {
				for _, size := range [2]int{p.size, p.long} {
					end := at + head + size
					if size == 0 || end > len(data) {
						continue
					}
					items = append(items, item{data[at], data[at+head : end]})
					if cover(end) {
						return true
					}
					items = items[:len(items)-1]
				}
			}
			dead |= 1 << at
			return false
		}
		if cover(0) {
			return items, nil
		}
	}
	at := 0
	for at+head <= len(data) {
		p := pids[data[at]]
		if p == nil || at+head+p.size > len(data) {
			break
		}
		items = append(items, item{data[at], data[at+head : at+head+p.size]})
		at += head + p.size
	}
	return items, data[at:]
}

// padding tells whether bytes only fill up a frame.
func padding(b []byte) bool {
	for _, v := range b {
		if v != b[0] || v != 0 && v != 0x55 && v != 0xAA && v != 0xFF && v != 0xCC {
			return false
		}
	}
	return true
}

func (d *decoder) current(m message, data []byte) bool {
	if len(data) == 0 {
		d.damaged(m, say.T("answer of service 01 without a PID"))
		return false
	}
	// By far the most common: one PID, whole.
	if p := pids[data[0]]; p != nil && len(data) == 1+p.size {
		d.pid(m, data[0], data[1:])
		return true
	}
	// Bare text may show the filler of the frame; it must not be read as a PID.
	if p := pids[data[0]]; p != nil && !m.can && len(data) > 2+p.size && padding(data[1+p.size:]) {
		data = data[:1+p.size]
	}
	items, rest := splitPIDs(data, false)
	for _, it := range items {
		d.pid(m, it.pid, it.data)
	}
	d.leftOver(m, "01", items, rest, 1)
	return len(items) > 0
}

// leftOver remarks on bytes after the last PID that was understood.
func (d *decoder) leftOver(m message, service string, items []item, rest []byte, head int) {
	switch {
	case len(rest) == 0, len(items) > 0 && padding(rest):
	case pids[rest[0]] == nil && len(items) == 0:
		d.notes.add(m.line, Ignored, say.T("PID %02X of service %s is not read", rest[0], service), "")
	case pids[rest[0]] != nil && len(rest) < head+pids[rest[0]].size:
		d.damaged(m, say.T("PID %02X of service %s cut off: it has %d of %d bytes", rest[0], service, max(len(rest)-head, 0), pids[rest[0]].size))
	default:
		d.notes.add(m.line, Ignored, say.T("%d bytes after PID %02X of service %s are not read", len(rest), items[len(items)-1].pid, service), "")
	}
}

// pid takes one PID of service 01.
func (d *decoder) pid(m message, pid byte, data []byte) {
	switch {
	case pid&0x1F == 0:
		s := d.supported[m.module]
		if s == nil {
			s = new([8]uint32)
			d.supported[m.module] = s
		}
		s[pid>>5] |= uint32(data[0])<<24 | uint32(data[1])<<16 | uint32(data[2])<<8 | uint32(data[3])
		return
	case pid == 0x01, pid == 0x41:
		r := readiness(data)
		r.Module, r.ThisDrive, r.Line = m.module, pid == 0x41, m.line
		list := &d.result.Readiness
		if i := slices.IndexFunc(*list, func(o Readiness) bool { return o.Module == r.Module && o.ThisDrive == r.ThisDrive }); i >= 0 {
			(*list)[i] = r
		} else {
			*list = append(*list, r)
		}
		return
	case pid == 0x13, pid == 0x1D:
		l := Layout{Module: m.module, PID: PID(pid), Line: m.line}
		place := place13
		if pid == 0x1D {
			place = place1D
		}
		for bit := range 8 {
			if data[0]&(1<<bit) != 0 {
				l.Sensors = append(l.Sensors, place(bit+1))
			}
		}
		list := &d.result.Layouts
		if i := slices.IndexFunc(*list, func(o Layout) bool { return o.Module == l.Module && o.PID == l.PID }); i >= 0 {
			(*list)[i] = l
		} else {
			*list = append(*list, l)
		}
		return
	case pid == 0x1C:
		if s, ok := standards[data[0]]; ok {
			d.result.Standard = s
		}
		return
	case pid == 0x03:
		f := FuelSystem{m.module, d.fuelStatus(m, data[0]), d.fuelStatus(m, data[1]), m.line}
		list := &d.result.FuelSystems
		if i := slices.IndexFunc(*list, func(o FuelSystem) bool { return o.Module == f.Module }); i >= 0 {
			(*list)[i] = f
		} else {
			*list = append(*list, f)
		}
	}
	for i := range pids[pid].fields {
		f := &pids[pid].fields[i]
		if f.optional && len(data) < f.at+f.size || f.unusedFF && data[f.at] == 0xFF {
			continue
		}
		d.sample(m, pid, f, f.value(data))
	}
}

func (d *decoder) fuelStatus(m message, b byte) FuelStatus {
	s := fuelStatus(b)
	if s == FuelStatusNotStated {
		d.notes.add(m.line, Assumed, say.T("fuel system status %02X has more than one bit set, so it says nothing", b), "")
	}
	return s
}

func (d *decoder) sample(m message, pid byte, f *field, v float64) {
	key := seriesKey{m.module, pid, f.quantity, f.bank}
	s := d.series[key]
	if s == nil {
		s = &series{slot: f.slot}
		s.Channel = Channel{m.module, PID(pid), f.quantity, f.unit, f.bank, f.position}
		s.Resolution, s.Min, s.Max = f.num/f.den, v, v
		d.series[key] = s
	}
	s.Count++
	s.Last, s.Min, s.Max, s.Line = v, min(s.Min, v), max(s.Max, v), m.line
	if !m.timed {
		return
	}
	if d.samples >= d.maxSamples {
		d.notes.add(m.line, Damaged, say.T("more than %d samples; the rest counts, but stays out of the time series", d.maxSamples),
			"give a shorter stretch of the log")
		return
	}
	at := float64(m.nanos-d.start) / 1e9
	if n := len(s.Samples); at < 0 || n > 0 && at < s.Samples[n-1].T {
		return // the clock ran backwards, said in tick
	}
	s.Samples = append(s.Samples, Sample{at, v})
	d.samples++
}

// freezeFrame takes an answer of service 02: PID, frame number, data, and so on.
func (d *decoder) freezeFrame(m message, data []byte) bool {
	if len(data) < 2 {
		d.damaged(m, say.T("answer of service 02 without PID and frame number"))
		return false
	}
	items, rest := splitPIDs(data, true)
	if len(items) > 0 {
		list := &d.result.FreezeFrames
		no := int(data[1])
		i := slices.IndexFunc(*list, func(f FreezeFrame) bool { return f.Module == m.module && f.Frame == no })
		if i < 0 {
			if len(*list) >= maxFrames {
				d.notes.add(m.line, Damaged, say.T("too many freeze frames"), "give one car's responses at a time")
				return false
			}
			*list = append(*list, FreezeFrame{Module: m.module, Frame: no, Line: m.line})
			i = len(*list) - 1
		}
		for _, it := range items {
			d.frozen(m, &(*list)[i], it)
		}
	}
	d.leftOver(m, "02", items, rest, 2)
	return len(items) > 0
}

func (d *decoder) frozen(m message, f *FreezeFrame, it item) {
	switch it.pid {
	case 0x02:
		f.Code = CodeFromBytes(it.data[0], it.data[1])
		if f.Code == 0 {
			d.notes.add(m.line, Ignored, say.T("no freeze frame is stored"), "")
		}
		return
	case 0x03:
		f.FuelSystem = []FuelStatus{d.fuelStatus(m, it.data[0]), d.fuelStatus(m, it.data[1])}
		return
	}
	for _, fd := range pids[it.pid].fields {
		if fd.optional && len(it.data) < fd.at+fd.size || fd.unusedFF && it.data[fd.at] == 0xFF {
			continue
		}
		// The slot is kept in Position until the layout is known.
		r := Reading{Channel{m.module, PID(it.pid), fd.quantity, fd.unit, fd.bank, cmp.Or(fd.position, fd.slot)}, fd.value(it.data)}
		if i := slices.IndexFunc(f.Readings, func(o Reading) bool { return o.Channel == r.Channel }); i >= 0 {
			f.Readings[i] = r
		} else {
			f.Readings = append(f.Readings, r)
		}
	}
}

// pairs reads codes two bytes each; 0000 is padding, an odd last byte is dropped.
func pairs(data []byte) []Code {
	var codes []Code
	for ; len(data) >= 2; data = data[2:] {
		if c := CodeFromBytes(data[0], data[1]); c != 0 {
			codes = append(codes, c)
		}
	}
	return codes
}

// codes takes an answer of service 03, 07 or 0A. On CAN a count comes first; older
// buses send three codes at a time, padded with zeros (from memory of SAE J1979).
// A bare answer with an even number of bytes is read as the older kind.
func (d *decoder) codes(m message, data []byte, status CodeStatus) {
	counted := m.can || !m.old && len(data)%2 == 1
	count := -1
	if counted && len(data) > 0 {
		count, data = int(data[0]), data[1:]
	}
	list := &d.result.CodeLists
	i := slices.IndexFunc(*list, func(l CodeList) bool { return l.Module == m.module && l.Status == status })
	if i < 0 {
		*list = append(*list, CodeList{Module: m.module, Status: status, Codes: []Code{}, Line: m.line})
		i = len(*list) - 1
	}
	found := pairs(data)
	for _, c := range found {
		if l := &(*list)[i]; !slices.Contains(l.Codes, c) && len(l.Codes) < 256 {
			l.Codes = append(l.Codes, c)
		}
	}
	switch {
	case len(data)%2 == 1:
		d.damaged(m, say.T("a code has only one of its two bytes"))
	case count > len(data)/2:
		d.damaged(m, say.T("answer says %d codes and holds %d", count, len(data)/2))
	case count >= 0 && count < len(found):
		d.notes.add(m.line, Assumed, say.T("answer says %d codes and holds %d; all are kept", count, len(found)), "read the codes again")
	case !m.can && !m.old && count < 0 && len(data) > 0 && len(data) != 6:
		d.notes.add(m.line, Assumed, say.T("codes without a count and not three at a time"), "read again with headers shown if a code looks wrong")
	}
}

// sensorTest takes an answer of service 05: test, sensor, value and perhaps limits.
// From memory of SAE J1979.
func (d *decoder) sensorTest(m message, data []byte) bool {
	if len(data) >= 1 && data[0]&0x1F == 0 {
		return true // the list of supported tests
	}
	if len(data) < 3 {
		d.damaged(m, say.T("answer of service 05 cut off"))
		return false
	}
	tid, sensor := data[0], data[1]
	r := TestResult{Module: m.module, Service: 5, Monitor: "oxygen sensor", TID: int(tid), Name: testNames[tid], Line: m.line}
	num, unit, known := scale05(tid)
	r.Unit, r.Raw = unit, !known
	r.Value = float64(data[2]) * num
	if len(data) >= 5 {
		r.Min, r.Max = new(float64(data[3])*num), new(float64(data[4])*num)
	}
	if bits.OnesCount8(sensor) == 1 {
		r.Position = bits.TrailingZeros8(sensor) + 1 // the slot, until the layout is known
	} else {
		d.notes.add(m.line, Damaged, say.T("service 05 names sensor %02X, which is not one sensor", sensor), "read again")
	}
	d.test(m, r)
	return true
}

// monitorTest takes an answer of service 06. On CAN it is records of nine bytes:
// monitor, test, unit and scaling, value, minimum, maximum. Older buses send test,
// limit kind and component, value, limit, in the maker's own scaling (from memory
// of SAE J1979).
func (d *decoder) monitorTest(m message, data []byte) bool {
	if len(data) == 0 {
		d.damaged(m, say.T("answer of service 06 cut off"))
		return false
	}
	if data[0]&0x1F == 0 {
		return true // the list of supported monitors
	}
	if m.old || !m.can && len(data) == 6 {
		if len(data) < 6 {
			d.damaged(m, say.T("answer of service 06 cut off"))
			return false
		}
		r := TestResult{Module: m.module, Service: 6, TID: int(data[0]), Raw: true, Line: m.line,
			Monitor: fmt.Sprintf("component %d", data[1]&0x7F), Value: float64(int(data[2])<<8 | int(data[3]))}
		limit := new(float64(int(data[4])<<8 | int(data[5])))
		if data[1]&0x80 != 0 {
			r.Min = limit
		} else {
			r.Max = limit
		}
		d.test(m, r)
		return true
	}
	read := false
	for ; len(data) >= 9; data = data[9:] {
		if data[0]&0x1F == 0 {
			break
		}
		mid, tid, uas := data[0], data[1], data[2]
		raw := func(at int) uint16 { return uint16(data[at])<<8 | uint16(data[at+1]) }
		r := TestResult{Module: m.module, Service: 6, MID: int(mid), TID: int(tid), Line: m.line}
		r.Monitor, r.Bank, r.Position, r.Cylinder = monitorOf(mid)
		r.Name = testNames[tid]
		value, unit, known := scaleUAS(uas, raw(3))
		low, _, _ := scaleUAS(uas, raw(5))
		high, _, _ := scaleUAS(uas, raw(7))
		r.Value, r.Min, r.Max, r.Unit, r.Raw = value, &low, &high, unit, !known
		if !known {
			d.notes.add(m.line, Assumed, say.T("unit and scaling %02X is not in the table; its values are plain counts", uas), "")
		}
		d.test(m, r)
		read = true
	}
	if len(data) > 0 && !(read && padding(data)) {
		d.damaged(m, say.T("record of service 06 cut off: it has %d of 9 bytes", len(data)))
	}
	return read
}

func (d *decoder) test(m message, r TestResult) {
	list := &d.result.Tests
	if i := slices.IndexFunc(*list, func(o TestResult) bool {
		return o.Module == r.Module && o.Service == r.Service && o.MID == r.MID && o.TID == r.TID && o.Position == r.Position && o.Monitor == r.Monitor
	}); i >= 0 {
		(*list)[i] = r
		return
	}
	if len(*list) >= maxTests {
		d.notes.add(m.line, Damaged, say.T("too many monitor results"), "give one car's responses at a time")
		return
	}
	*list = append(*list, r)
}

// vehicleInfo takes an answer of service 09: VIN (02), calibrations (04), their
// verification numbers (06), the module's name (0A). On CAN the number of items
// comes first; older buses send a line number and four bytes (from memory of SAE
// J1979).
func (d *decoder) vehicleInfo(m message, data []byte) bool {
	if len(data) < 2 {
		d.damaged(m, say.T("answer of service 09 cut off"))
		return false
	}
	id := d.identities[m.module]
	if id == nil {
		id = &identity{Identity: Identity{Module: m.module}}
		d.identities[m.module] = id
	}
	kind, first, rest := data[0], data[1], data[2:]
	inParts := m.old || !m.can && len(rest) == 4 && kind != 0x06
	switch {
	case kind&0x1F == 0 || kind&1 == 1:
		return true // lists of what is supported, and counts of lines
	case kind == 0x02 && inParts:
		if first < 1 || int(first) >= len(id.vinParts) || len(rest) < 4 {
			d.damaged(m, say.T("line of the VIN cut off"))
			return false
		}
		id.vinParts[first] = bytes.Clone(rest[:4])
		if id.vinLine == 0 {
			id.vinLine = m.line
		}
	case kind == 0x02:
		vin := text(rest)
		if len(vin) != 17 {
			d.damaged(m, say.T("VIN cut off: %q has %d of 17 characters", vin, len(vin)))
			if m.partial {
				d.notes.add(m.line, Damaged, say.T("VIN cut off after %q", vin), "read again and paste every line of the answer")
			}
			return len(vin) > 0
		}
		id.VIN = vin
		if d.result.VIN == "" {
			d.result.VIN = vin
		} else if d.result.VIN != vin {
			d.notes.add(m.line, Assumed, say.T("modules give different VINs: %s and %s", d.result.VIN, vin), "compare with the plate on the car")
		}
	case kind == 0x04 && !inParts:
		for ; len(rest) >= 16; rest = rest[16:] {
			if s := text(rest[:16]); s != "" && !slices.Contains(id.Calibrations, s) && len(id.Calibrations) < 16 {
				id.Calibrations = append(id.Calibrations, s)
			}
		}
	case kind == 0x06:
		for ; len(rest) >= 4; rest = rest[4:] {
			if s := fmt.Sprintf("%X", rest[:4]); !slices.Contains(id.Checks, s) && len(id.Checks) < 16 {
				id.Checks = append(id.Checks, s)
			}
		}
	case kind == 0x0A && !inParts:
		id.Name = text(rest)
	default:
		d.notes.add(m.line, Ignored, say.T("information type %02X of service 09 is not read", kind), "")
	}
	return true
}

// text keeps the printable characters of an answer; zeros and fillers drop out.
func text(b []byte) string {
	var s strings.Builder
	for _, v := range b {
		if v > ' ' && v < 0x7F || v == ' ' && s.Len() > 0 {
			s.WriteByte(v)
		}
	}
	return strings.TrimRight(s.String(), " ")
}

// collect turns what was gathered into the result: VINs in parts, places by the
// layout, sorted lists.
func (d *decoder) collect() {
	r := &d.result
	for _, module := range sortedKeys(d.identities) {
		id := d.identities[module]
		if id.vinLine > 0 && id.VIN == "" {
			d.joinVIN(id)
		}
		if r.VIN == "" {
			r.VIN = id.VIN
		}
		if id.VIN != "" || id.Name != "" || len(id.Calibrations)+len(id.Checks) > 0 {
			r.Identities = append(r.Identities, id.Identity)
		}
	}
	for _, module := range sortedKeys(d.supported) {
		s := Supported{Module: module}
		for group, mask := range d.supported[module] {
			for bit := range 32 {
				if pid := group*32 + bit + 1; mask&(1<<(31-bit)) != 0 && pid <= 0xFF {
					s.PIDs = append(s.PIDs, PID(pid))
				}
			}
		}
		r.Supported = append(r.Supported, s)
	}

	assumedLine := 0
	placeOf := func(module Module, slot, line int) Location {
		place, known := d.placing(module)
		if !known && (assumedLine == 0 || line < assumedLine) {
			assumedLine = line
		}
		return place(slot)
	}
	for _, s := range d.series {
		if s.slot > 0 {
			at := placeOf(s.Module, s.slot, s.Line)
			s.Bank, s.Position = at.Bank, at.Position
		}
		r.Series = append(r.Series, s.Series)
	}
	sortSeries(r.Series)
	r.FreezeFrames = slices.DeleteFunc(r.FreezeFrames, func(f FreezeFrame) bool {
		return f.Code == 0 && len(f.Readings) == 0 && len(f.FuelSystem) == 0
	})
	for i := range r.FreezeFrames {
		f := &r.FreezeFrames[i]
		for j := range f.Readings {
			c := &f.Readings[j].Channel
			if c.Bank == 0 && c.Position > 0 {
				at := placeOf(c.Module, c.Position, f.Line)
				c.Bank, c.Position = at.Bank, at.Position
			}
		}
	}
	for i := range r.Tests {
		if t := &r.Tests[i]; t.Service == 5 && t.Position > 0 {
			at := placeOf(t.Module, t.Position, t.Line)
			t.Bank, t.Position = at.Bank, at.Position
		}
	}
	if assumedLine > 0 {
		d.notes.add(assumedLine, Assumed, say.T("sensor places follow PID 13, since the text says neither PID 13 nor 1D"),
			"read PID 13 and 1D as well if the car has more than two banks or the places look wrong")
	}
}

// joinVIN puts the VIN of an older bus together.
func (d *decoder) joinVIN(id *identity) {
	var missing []string
	var all []byte
	for i := 1; i < len(id.vinParts); i++ {
		if id.vinParts[i] == nil {
			missing = append(missing, fmt.Sprint(i))
		}
		all = append(all, id.vinParts[i]...)
	}
	vin := text(all)
	if len(missing) > 0 || len(vin) != 17 {
		what := say.T("VIN has %d of 17 characters", len(vin))
		if len(missing) > 0 {
			what = say.T("VIN cut off: of its five lines these are missing: %s", strings.Join(missing, ", "))
		}
		d.notes.add(id.vinLine, Damaged, what, "read again and paste all five lines")
		return
	}
	id.VIN = vin
}

// placing tells how a module numbers its sensors: by its own PID 13 or 1D, by the
// one it supports, by another module's, else as PID 13 does.
func (d *decoder) placing(module Module) (place func(int) Location, known bool) {
	pid := PID(0)
	for _, l := range d.result.Layouts {
		if l.Module == module && (pid == 0 || l.PID == 0x13) {
			pid = l.PID
		}
	}
	if s := d.supported[module]; pid == 0 && s != nil {
		switch has13, has1D := s[0]&(1<<(32-0x13)) != 0, s[0]&(1<<(32-0x1D)) != 0; {
		case has13:
			pid = 0x13
		case has1D:
			pid = 0x1D
		}
	}
	if pid == 0 && len(d.result.Layouts) > 0 {
		pid = d.result.Layouts[0].PID
	}
	if pid == 0x1D {
		return place1D, true
	}
	return place13, pid == 0x13
}

func sortedKeys[V any](m map[Module]V) []Module {
	keys := make([]Module, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
