package obd

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"crosscount/diag/diagtest"
)

// TestDriveLog sets our scaling against the values an independent logger printed
// for a real car (open dataset carOBD, IEEE document 8891367): each printed value
// must be one that our decoding of that PID can give.
func TestDriveLog(t *testing.T) {
	columns := map[string]byte{
		"ENGINE_RPM ()": 0x0C, "VEHICLE_SPEED ()": 0x0D, "THROTTLE ()": 0x11, "ENGINE_LOAD ()": 0x04,
		"COOLANT_TEMPERATURE ()": 0x05, "LONG_TERM_FUEL_TRIM_BANK_1 ()": 0x07, "SHORT_TERM_FUEL_TRIM_BANK_1 ()": 0x06,
		"INTAKE_MANIFOLD_PRESSURE ()": 0x0B, "FUEL_TANK ()": 0x2F, "ABSOLUTE_BAROMETRIC_PRESSURE ()": 0x33,
		"RELATIVE_THROTTLE_POSITION ()": 0x45, "INTAKE_AIR_TEMP ()": 0x0F, "TIMING_ADVANCE ()": 0x0E,
		"CATALYST_TEMPERATURE_BANK1_SENSOR1 ()": 0x3C, "CATALYST_TEMPERATURE_BANK1_SENSOR2 ()": 0x3E,
		"CONTROL_MODULE_VOLTAGE ()": 0x42, "COMMANDED_EVAPORATIVE_PURGE ()": 0x2E,
		"TIME_SINCE_TROUBLE_CODES_CLEARED ()": 0x4E, "WARM_UPS_SINCE_CODES_CLEARED ()": 0x30,
	}
	for name, log := range diagtest.DriveLogs(t) {
		t.Run(name, func(t *testing.T) {
			rows := csv.NewReader(bytes.NewReader(log))
			rows.FieldsPerRecord = -1
			header, err := rows.Read()
			if err != nil {
				t.Fatal(err)
			}
			seen := map[byte]int{}
			for {
				row, err := rows.Read()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				for i, title := range header {
					pid, ok := columns[title]
					if !ok || i >= len(row) || strings.TrimSpace(row[i]) == "" {
						continue // some cells were not read
					}
					want, err := strconv.ParseFloat(strings.TrimSpace(row[i]), 64)
					if err != nil {
						t.Fatalf("%s: %v", title, err)
					}
					fd := &pids[pid].fields[0]
					raw := math.Round((want - fd.offset) * fd.den / fd.num)
					if raw < 0 || raw >= math.Pow(256, float64(fd.size)) {
						t.Fatalf("%s: %v is outside PID %02X", title, want, pid)
					}
					data := []byte{byte(int(raw) >> 8), byte(int(raw))}[2-fd.size:]
					// The logger prints 32-bit floats with six decimals.
					if got := fd.value(data); math.Abs(got-want) > 2e-6+math.Abs(want)*1e-7 {
						t.Fatalf("%s: printed %v, PID %02X of % X gives %v", title, want, pid, data, got)
					}
					seen[pid]++
				}
			}
			if len(seen) != len(columns) || seen[0x06] < 500 {
				t.Errorf("only %d of %d columns seen, %d trims", len(seen), len(columns), seen[0x06])
			}
		})
	}
}
