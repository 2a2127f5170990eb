package web

import (
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

// longAnswer frames a payload as ISO 15765-2 does: a first frame, then numbered ones.
func longAnswer(header string, payload []byte) string {
	out := fmt.Sprintf("%s 1%X %02X % X\n", header, len(payload)>>8, len(payload)&0xFF, payload[:6])
	for i, n := 6, 1; i < len(payload); i, n = i+7, n+1 {
		out += fmt.Sprintf("%s 2%X % X\n", header, n&15, payload[i:min(i+7, len(payload))])
	}
	return out
}

// The VIN's check digit is right by 49 CFR 565.15; the maker's letters are invented.
const answeredVIN = "1ZZZZ99ZXTS392124"

// TestWhatTheCarAnswered takes a made-up answer in the framing of ISO 15765-4 and the
// coding of SAE J1979 (vectors as in package obd's tests) into the job.
func TestWhatTheCarAnswered(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	text := ">0101\n7E8 06 41 01 81 07 65 04\n>03\n7E8 04 43 01 01 71\n>07\n7E8 04 47 01 01 74\n>0A\n7E8 02 4A 00\n" +
		">0113\n7E8 03 41 13 31\n" + // bank 1 position 1, bank 2 positions 1 and 2: 0b00110001
		">0106\n7E8 03 41 06 8C\n>0107\n7E8 03 41 07 A0\n>0108\n7E8 03 41 08 80\n" +
		">010C\n7E8 04 41 0C 0B B8\n>0110\n7E8 04 41 10 01 40\n" +
		">0202\n7E8 05 42 02 00 01 71\n>020C\n7E8 05 42 0C 00 1A F8\n" +
		">0114\nNO DATA\n>0902\n" + longAnswer("7E8", append([]byte{0x49, 0x02, 0x01}, answeredVIN...)) +
		longAnswer("7E9", append([]byte{0x49, 0x04, 0x01}, "CALIBRATION-0001"...))[:24] + "\n"
	sent := b.paste(job, "", text).want(t, 303)
	if !strings.HasSuffix(sent.location, "?as=responses") {
		t.Fatalf("taken for something else: %s", sent.location)
	}
	file := strings.Split(sent.location, "?")[0]
	page := b.get(sent.location).want(t, 200, "Not every module that answered told these codes: 7E9.", "P0171", "P0174", "No permanent codes.", answeredVIN, "The car's own VIN was not known here", "Lamp on, one code stored",
		"Freeze frame 0, kept when P0171 was set", "1726\u00a0rpm", "bank 1, position 1", "Written down here, not reported", "Trims at the speed chosen below", "Correct the car's sensors", "NO DATA")
	sound(t, "responses", page.body)
	for _, e := range r.entriesOf(job) {
		if e.Source != store.Told {
			t.Errorf("taken over unasked: %+v", e.Body)
		}
	}
	t.Run("tells a long answer that was cut, with its line", func(t *testing.T) {
		i := strings.Index(page.body, `class="noticed"`)
		if i < 0 || !strings.Contains(page.body[i:], "Line ") {
			t.Errorf("nothing noticed:\n%s", plainText(page.body))
		}
		t.Log(plainText(page.body[i:])[:400])
	})
	form := page.fields(t, file+"/take")
	t.Run("takes over nothing when nothing is ticked", func(t *testing.T) {
		none := map[string][]string{"id": {store.NewID()}, "entries": {store.NewID()}, "state": {"idle"}}
		b.post(file+"/take", none).want(t, 422, "Nothing is ticked.")
	})
	form.Set("take_vin", "yes")
	form.Set("take_layout", "yes")
	form.Set("state", "idle")
	kept := b.post(file+"/take", form).want(t, 303)
	sound(t, "capture of answers", b.get(kept.location).want(t, 200, "P0174", answeredVIN, "It is this car's.", "As written down here.").body)
	b.post(file+"/take", form).want(t, 303) // sent twice, taken once

	f, err := r.store.JobFile(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	if f.Vehicle.VIN != answeredVIN {
		t.Errorf("the VIN is %q", f.Vehicle.VIN)
	}
	var places []string
	for _, s := range f.Sensors {
		places = append(places, placeKey(s.Bank, s.Position))
	}
	if got := strings.Join(places, " "); got != "1-1 2-1 2-2" {
		t.Errorf("the sensors are at %s", got)
	}
	codes, trims, air := map[string]int{}, map[int]float64{}, 0
	for _, e := range f.Entries {
		if e.Source != store.Measured {
			continue
		}
		switch e.Body.Kind {
		case diag.KindCode:
			codes[e.Body.Code+" "+e.Body.Status]++
		case diag.KindTrim:
			if e.Body.LongPct != nil {
				trims[e.Body.Bank] = *e.Body.LongPct
			}
		case diag.KindAirflow:
			air++
			if *e.Body.RPM != 750 || math.Abs(*e.Body.GPerS-3.2) > 1e-9 {
				t.Errorf("airflow %+v", e.Body)
			}
		}
	}
	if codes["P0171 stored"] != 1 || codes["P0174 pending"] != 1 || len(codes) != 2 {
		t.Errorf("codes %v", codes)
	}
	if trims[1] != 25 || air != 1 { // A0 is 160: 160/1.28 - 100
		t.Errorf("trims %v, %d airflows", trims, air)
	}
	b.get(at(job, "")).want(t, 200, "P0174, pending", "Answers of the car")

	t.Run("doubts another car's VIN", func(t *testing.T) {
		other := []byte(answeredVIN)
		other[16] = '5'
		a := b.paste(job, "responses", longAnswer("7E8", append([]byte{0x49, 0x02, 0x01}, other...))).want(t, 303)
		b.get(a.location).want(t, 200, "It is not this car's: "+answeredVIN)
	})
	t.Run("reads a table when told so, and says why it cannot", func(t *testing.T) {
		b.get(file+"?as=table").want(t, 200, "This is what the car answered, not a table")
		b.paste(job, "responses", "hello\nworld").want(t, 422)
	})
}

// TestAnsweredListsAreWhole uses the coding of SAE J1979 for services 03 and 07 on CAN: a
// count, then two bytes a code (as in package obd's tests).
func TestAnsweredListsAreWhole(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	const stored, pending = "All stored codes were read: no other", "All pending codes were read: no other"
	for _, x := range []struct {
		name, text string
		want       []string // entries, ticked as they come
		why        string
	}{
		{"both services, the same code in both", ">03\n7E8 04 43 01 01 71\n>07\n7E8 04 47 01 01 71\n",
			[]string{"code P0171 stored", "code P0171 pending", "code_list  stored", "code_list  pending"}, ""},
		{"no code, and nobody asked for pending ones", ">03\n7E8 02 43 00\n", []string{"code_list  stored"}, ""},
		{"two modules that both told", ">03\n7E8 04 43 01 01 71\n7E9 02 43 00\n", []string{"code P0171 stored", "code_list  stored"}, ""},
		{"a module that answered something else only", ">0100\n7E8 06 41 00 BE 3E B8 11\n7E9 06 41 00 80 00 00 01\n>03\n7E8 04 43 01 01 71\n",
			[]string{"code P0171 stored"}, "Not every module that answered told these codes: 7E9. Ask all of them."},
		{"an answer that was cut", ">03\n7E8 04 43 01 01\n>07\n7E8 02 47 00\n", nil, "An answer was damaged, and a code may have been in it."},
	} {
		t.Run(x.name, func(t *testing.T) {
			job := r.job()
			sent := b.paste(job, "responses", x.text).want(t, 303)
			page := b.get(sent.location).want(t, 200, x.why)
			if text := plainText(page.body); strings.Contains(text, pending) != strings.Contains(x.text, ">07") || !strings.Contains(text, stored) {
				t.Errorf("the page offers the wrong lists:\n%s", text)
			}
			file := strings.Split(sent.location, "?")[0]
			form := page.fields(t, file+"/take")
			if x.want == nil {
				form.Set("entry_0", "yes") // not offered
				b.post(file+"/take", form).want(t, 422, "An answer was damaged")
				return
			}
			b.get(b.post(file+"/take", form).want(t, 303).location).want(t, 200)
			var got []string
			for _, e := range r.entriesOf(job) {
				got = append(got, string(e.Body.Kind)+" "+e.Body.Code+" "+e.Body.Status)
			}
			if !slices.Equal(got, x.want) {
				t.Errorf("taken over: %q, want %q", got, x.want)
			}
		})
	}
}

// TestAnswersOverTimeBecomeACapture records PID 14 every 100 ms: a square swing between
// 0.1 and 0.8 V, two seconds each way, so a quarter of a cycle a second.
func TestAnswersOverTimeBecomeACapture(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	var text strings.Builder
	for i := range 600 {
		v := 20 // 0.1 V in steps of 5 mV
		if i/20%2 == 1 {
			v = 160
		}
		fmt.Fprintf(&text, "(%.3f) can0 7E8#0441%s%s80000000\n", 1700000000+float64(i)/10, "14", hex.EncodeToString([]byte{byte(v)}))
	}
	sent := b.sendFile(job, "", "drive.log", strings.NewReader(text.String())).want(t, 303)
	page := b.get(sent.location).want(t, 200, "Sensor voltage", "Measured", "Bank 1, position 1. Signal at the speed chosen below")
	page.svg(t)
	file := strings.Split(sent.location, "?")[0]
	kept := b.post(file+"/take", page.fields(t, file+"/take")).want(t, 303)
	b.get(kept.location).want(t, 200, "Crossings, full cycles").svg(t)
	n := 0
	for _, e := range r.entriesOf(job) {
		if e.Body.Kind == diag.KindSignal {
			n++
			if e.Body.CrossingsHz == nil || math.Abs(*e.Body.CrossingsHz-0.25) > 0.01 || math.Abs(*e.Body.MinV-0.1) > 1e-9 || math.Abs(*e.Body.MaxV-0.8) > 1e-9 {
				t.Errorf("%+v", e.Body)
			}
			if e.Body.LeanRichMs != nil {
				t.Errorf("ten samples a second judged a transition of %g ms", *e.Body.LeanRichMs)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d signals", n)
	}
	b.get(at(job, "")).want(t, 200, kept.location+"/picture.svg")
}
