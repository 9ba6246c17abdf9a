package elm

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/isotp"
	"readback/diag/link"
)

// outcome runs one request on a scripted device and tells what Receive gave, as text.
func outcome(t *testing.T, d *device, m link.Message, within time.Duration) []string {
	t.Helper()
	a, _ := openDevice(t, d)
	send(t, a.Link(), m)
	return received(t, a.Link(), within)
}

func received(t *testing.T, l link.Link, within time.Duration) (out []string) {
	t.Helper()
	messages, errs := collect(t, l, within)
	for _, m := range messages {
		out = append(out, text(m.Address.Answer, m.Data))
	}
	return append(out, troubles(errs)...)
}

func same(t *testing.T, got []string, want ...string) {
	t.Helper()
	if strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// Published transcripts with headers on. In CAF0 a request is typed with its length byte.
func TestTranscripts(t *testing.T) {
	for _, c := range []struct {
		source, line, say string
		m                 link.Message
		want              []string
	}{
		{"ELM327 data sheet (DSH) p. 39", "0201005555555555", "7E8 06 41 00 BE 3F B8 13 00 \r",
			link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x01, 0x00}}, []string{"7E8 4100BE3FB813"}},
		{"ELM327 data sheet (DSH) p. 39", "0201055555555555", "7E8 03 41 05 46 00 00 00 00 \r",
			link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x01, 0x05}}, []string{"7E8 410546"}},
		{"ELM329 data sheet (DSB) p. 38: two modules interleaved; 31 is filling", "0209045555555555",
			"7E8 10 13 49 04 01 35 36 30\r7E9 10 13 49 04 01 35 36 30\r7E8 21 32 38 39 34 39 41 43\r7E8 22 00 00 00 00 00 00 31\r7E9 21 32 38 39 35 34 41 43\r7E9 22 00 00 00 00 00 00 31\r",
			link.Message{Address: link.Functional11(), Data: []byte{0x09, 0x04}},
			[]string{"7E8 49040135363032383934394143000000000000", "7E9 49040135363032383935344143000000000000"}},
		{"public question and answer 51202387", "0209025555555555",
			"7E8 10 14 49 02 01 4C 46 56\r7E8 21 33 42 32 38 52 38 41\r7E8 22 33 30 32 35 33 31 30\r",
			link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x09, 0x02}}, []string{"7E8 4902014C4656334232385238413330323533" + "3130"}},
	} {
		for _, form := range []struct {
			name string
			d    func() *device
			edit func(string) string
		}{
			{"as printed", func() *device { return &device{} }, func(s string) string { return s }},
			{"without spaces", func() *device { return &device{} }, func(s string) string { return strings.ReplaceAll(s, " ", "") }},
			{"byte by byte, with line feeds and NULs", func() *device { return &device{split: true} }, func(s string) string { return strings.ReplaceAll(s, "\r", "\r\n\x00") }},
			{"echo stuck on", func() *device { return &device{echo: true} }, func(s string) string { return s }},
			{"searching first", func() *device { return &device{} }, func(s string) string { return "SEARCHING...\r" + s }},
			{"searching on the same line", func() *device { return &device{} }, func(s string) string { return "SEARCHING..." + s }},
		} {
			t.Run(c.source+" "+form.name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					d := form.d()
					d.script = []step{{c.line, says(form.edit(c.say) + prompt)}}
					same(t, outcome(t, d, c.m, 2*time.Second), c.want...)
				})
			})
		}
	}
}

// Every alert of the data sheet (pages beside the table of alerts), in the adapter's own words.
func TestAlerts(t *testing.T) {
	line := "023E005555555555"
	m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}, Wait: 100 * time.Millisecond}
	for _, c := range []struct{ say, want string }{
		{"NO DATA", "silence 7E0: NO DATA"},
		{"NODATA", "silence 7E0: NODATA"},
		{"?", "alert: ?"},
		{"UNABLE TO CONNECT", "alert: UNABLE TO CONNECT"},
		{"SEARCHING...\rUNABLE TO CONNECT", "alert: UNABLE TO CONNECT"},
		{"STOPPED", "alert: STOPPED"},
		{"BUFFER FULL", "alert: BUFFER FULL"},
		{"BUS BUSY", "alert: BUS BUSY"},
		{"BUS ERROR", "alert: BUS ERROR"},
		{"FB ERROR", "alert: FB ERROR"},
		{"DATA ERROR", "alert: DATA ERROR"},
		{"CAN ERROR", "alert: CAN ERROR"},
		{"BUS INIT: ERROR", "alert: BUS INIT: ERROR"},
		{"BUS INIT: ...ERROR", "alert: BUS INIT: ...ERROR"},
		{"ERR71", "alert: ERR71"},
		{"ERR94", "alert: ERR94"},
		{"LV RESET", "alert: LV RESET"},
		{"!ACT ALERT", "alert: !ACT ALERT"},
		{"!LP ALERT", "alert: !LP ALERT"},
	} {
		t.Run(c.say, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				monitored := []step{{line, says(c.say + "\r" + prompt)}}
				same(t, outcome(t, &device{script: monitored}, m, 5*time.Second), c.want)
			})
		})
	}
}

// A damaged line does not spoil an answer that came whole. Without one it is told as damage, once, and not as silence; a
// line that is no frame is told, not guessed.
func TestDamagedLines(t *testing.T) {
	m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}, Wait: 100 * time.Millisecond}
	for _, c := range []struct {
		say  string
		want []string
	}{
		{"7E8 02 7E 00 <RX ERROR\r7E8 02 7E 00 AA AA AA AA AA", []string{"7E8 7E00"}},
		{"7E8 02 7E 0 <DATA ERROR\r7E8 02 7E 00 AA AA AA AA AA", []string{"7E8 7E00"}},
		{"7E8 02 7\r7E8 02 7E 00 AA AA AA AA AA", []string{"7E8 7E00"}},
		{"XYZZY\r7E8 02 7E 00 AA AA AA AA AA", []string{"7E8 7E00"}},
		{"7E8 02 7E 00 AA AA AA AA AA AA\r7E8 02 7E 00", []string{"7E8 7E00"}},
		{"7E8 10 14 49 02 01 4C 46 56\r7E8 22 33 42 32 38 52 38 41\r7E8 02 7E 00", []string{"7E8 7E00", "torn 7E8 6/20"}},
		{"7E8 10 14 49 02 01 4C 46 56\r7E8 21 33 42 32 38 52 38 41\rBUFFER FULL", []string{"torn 7E8 13/20", "alert: BUFFER FULL"}},
		{"7E8 02 7E 00 <RX ERROR", []string{"alert: 7E8 02 7E 00 <RX ERROR"}},
		{"7E8 02 7\rXYZZY", []string{"alert: 7E8 02 7"}},
		{"7E8 02", []string{"alert: 7E8 02"}},                                           // its bytes are lost
		{"702 7E 00 AA AA AA AA AA", []string{"alert: 702 7E 00 AA AA AA AA AA"}},       // so is a part of its identifier
		{"7E8 21 33 42 32 38 52 38 41", []string{"alert: 7E8 21 33 42 32 38 52 38 41"}}, // and its first frame
		{"7E8 00\r7E8 0F 11\r7E8 30 00 00\r7E8 F1\r123 02 7E 00\r7E8 02 7E 00", []string{"7E8 7E00"}},
	} {
		t.Run(c.say, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{script: []step{{"023E005555555555", says(c.say + "\r" + prompt)}}}
				same(t, outcome(t, d, m, 5*time.Second), c.want...)
			})
		})
	}
}

// "Working, wait", the prompt, and the answer later: it is waited for by monitoring with the same filter; the request
// goes out once.
func TestPendingIsMonitored(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{
			{"0414FFFFFF555555", says("7ED 03 7F 14 78 AA AA AA AA \r" + prompt)},
			{"ATMA", []piece{{after: 3 * time.Second, text: "7ED 03 7F 14 78 AA AA AA AA \r"}, {after: 4 * time.Second, text: "7ED 01 54 AA AA AA AA AA AA \r"}}},
			{"023E005555555555", says("NO DATA\r" + prompt)},
		}}
		a, _ := openDevice(t, d)
		to := at(0x7E5, 0x7ED)
		send(t, a.Link(), link.Message{Address: to, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}})
		same(t, received(t, a.Link(), 20*time.Second), "7ED 7F1478", "7ED 7F1478", "7ED 54")
		lines := d.heard()
		if !contains(lines, "ATCRA7ED") || !contains(lines, "ATSTFF") {
			t.Errorf("lines %q", lines)
		}
		send(t, a.Link(), link.Message{Address: to, Data: []byte{0x3E, 0x00}, Wait: 10 * time.Millisecond})
		same(t, received(t, a.Link(), 5*time.Second), "silence 7E5: NO DATA")
	})
}

// Nothing more after "working, wait": silence, once P2* is over.
func TestPendingEndsInSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{{"0414FFFFFF555555", says("7ED 03 7F 14 78 AA AA AA AA \r" + prompt)}, {"ATMA", nil}}}
		begun := time.Now()
		a, _ := openDevice(t, d)
		opened := time.Since(begun)
		send(t, a.Link(), link.Message{Address: at(0x7E5, 0x7ED), Data: []byte{0x14, 0xFF, 0xFF, 0xFF}})
		for _, want := range []string{"7ED", "silence"} {
			m, err := a.Link().Receive(t.Context())
			var silence *link.SilenceError
			if got := errors.As(err, &silence); got != (want == "silence") {
				t.Fatalf("%v, %v; want %s", m, err, want)
			}
		}
		if took := time.Since(begun) - opened; took < pendingTime || took > pendingTime+100*time.Millisecond {
			t.Errorf("silence after %v, want %v", took, pendingTime)
		}
	})
}

// When the one module has answered and the next request waits, the adapter is stopped with a space instead of being
// waited for.
func TestNextRequestCutsTheWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		answer := piece{text: "7E8 02 7E 00 AA AA AA AA AA \r"}
		slow := []piece{answer, {after: time.Hour, text: prompt}}
		d := &device{script: []step{{"023E005555555555", slow}, {"023E005555555555", slow}, {"023E005555555555", []piece{answer, {text: prompt}}}}}
		a, _ := openDevice(t, d)
		begun := time.Now()
		for range 3 {
			send(t, a.Link(), link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}})
			if m, err := a.Link().Receive(t.Context()); err != nil || text(m.Address.Answer, m.Data) != "7E8 7E00" {
				t.Fatalf("%v, %v", m, err)
			}
		}
		if took := time.Since(begun); took > time.Second {
			t.Errorf("took %v", took)
		}
		same(t, received(t, a.Link(), time.Second))
	})
}

// A supply dip costs all settings: they are set again before the next request, and the lost one is not repeated.
func TestSettingsLost(t *testing.T) {
	for _, c := range []struct {
		name   string
		script []step
		want   []string
	}{
		{"during a request", []step{
			{"023E005555555555", says("LV RESET\r\r" + prompt)},
			{"023E005555555555", says("7E8 02 7E 00 AA AA AA AA AA \r" + prompt)}}, []string{"alert: LV RESET"}},
		{"between requests", []step{
			{"023E005555555555", []piece{{text: "7E8 02 7E 00 AA AA AA AA AA \r" + prompt}, {after: time.Second, text: "\rLV RESET\r" + prompt}}},
			{"023E005555555555", says("7E8 02 7E 00 AA AA AA AA AA \r" + prompt)}}, []string{"7E8 7E00"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{script: c.script}
				a, _ := openDevice(t, d)
				m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}, Wait: time.Second}
				send(t, a.Link(), m)
				same(t, received(t, a.Link(), 2*time.Second), c.want...)
				d.heard()
				send(t, a.Link(), m)
				same(t, received(t, a.Link(), time.Second), "7E8 7E00")
				want := []string{"ATFE", "ATE0", "ATL0", "ATS0", "ATM0", "ATAL", "ATH1", "ATAT0", "ATSP6", "ATCAF0", "ATSH7E0", "ATCRA7E8", "ATFCSD300003", "ATFCSM2", "ATSTF2", "ATV0", "ATR1", "023E005555555555"}
				same(t, d.heard(), want...)
			})
		})
	}
}

// An adapter without the mode that takes our bytes alone is told the identifier too.
func TestFlowWithoutOurBytes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{at: defaults(map[string]string{"ATFCSM2": "?\r"}), script: []step{
			{"0322F19055555555", says("7E8037F2231\r" + prompt)}, {"023E005555555555", says("7E8027E00\r" + prompt)}}}
		a, _ := openDevice(t, d)
		for _, m := range []link.Message{
			{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x90}, Wait: 150 * time.Millisecond},
			{Address: link.Functional11(), Data: []byte{0x3E, 0x00}, Wait: 150 * time.Millisecond},
		} {
			send(t, a.Link(), m)
			if _, err := a.Link().Receive(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Wait()
		same(t, d.heard(), "ATSH7E0", "ATCRA7E8", "ATFCSD300003", "ATFCSH7E0", "ATFCSM1", "ATST1E", "ATV0", "ATR1", "0322F19055555555",
			"ATSH7DF", "ATCF700", "ATCM700", "ATFCSM0", "023E005555555555")
	})
}

// Nothing is set twice: the same address again is one line.
func TestSettingsAreKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ok := func(answer string) []piece { return says(answer + "\r" + prompt) }
		d := &device{script: []step{
			{"0322F19055555555", ok("7E8037F2231")}, {"0322F19055555555", ok("7E8037F2231")},
			{"0322F19055555555", ok("18DAF158037F2231")}, {"023E005555555555", ok("7E8027E00")},
			{"0322F19055555555", ok("74D037F2231")},
		}}
		a, _ := openDevice(t, d)
		read := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x90}, Wait: 150 * time.Millisecond}
		exchange := func(m link.Message) []string {
			send(t, a.Link(), m)
			if _, err := a.Link().Receive(t.Context()); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
			return d.heard()
		}
		same(t, exchange(read), "ATSH7E0", "ATCRA7E8", "ATFCSD300003", "ATFCSM2", "ATST1E", "ATV0", "ATR1", "0322F19055555555")
		same(t, exchange(read), "0322F19055555555")
		wide := read
		wide.Address = link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158))
		same(t, exchange(wide), "ATSP7", "ATCP18", "ATSHDA58F1", "ATCF18DAF100", "ATCM1FFFFF00", "0322F19055555555")
		all := link.Message{Address: link.Functional11(), Data: []byte{0x3E, 0x00}, Wait: 300 * time.Millisecond}
		same(t, exchange(all), "ATSP6", "ATSH7DF", "ATCF700", "ATCM700", "ATST43", "023E005555555555")
		own := read // a pair that the standard does not know
		own.Address = at(0x745, 0x74D)
		same(t, exchange(own), "ATSH745", "ATCRA74D", "ATFCSH745", "ATFCSM1", "ATST1E", "0322F19055555555")
	})
}

// The port vanishes: what had arrived whole is given, then the Link ends, for senders too.
func TestPortVanishes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{{"0322F19055555555", []piece{
			{text: "7E8 03 7F 22 78\r7E8 10 14 62 F1 90 30"}, {after: time.Millisecond, hang: true}}}}}
		a, _ := openDevice(t, d)
		m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x90}}
		send(t, a.Link(), m)
		same(t, received(t, a.Link(), time.Minute), "7E8 7F2278", "gone")
		if err := a.Link().Send(t.Context(), m); !errors.Is(err, link.ErrGone) {
			t.Errorf("Send: %v", err)
		}
		if _, err := a.SupplyVolts(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("supply: %v", err)
		}
		if _, err := a.Link().Receive(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("Receive: %v", err)
		}
	})
}

// An adapter that shows no prompt is interrupted; one that stays silent then, as a broken radio link does, has gone.
func TestNoPrompt(t *testing.T) {
	for want, say := range map[string]piece{"alert: no prompt": {after: time.Hour, hang: true}, "gone": {dead: true}} {
		t.Run(want, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}, Wait: 100 * time.Millisecond}
				same(t, outcome(t, &device{script: []step{{"023E005555555555", []piece{say}}}}, m, time.Minute), want)
			})
		})
	}
}

// Silence may last longer than the adapter can wait, and a message longer than its patience between two frames: then
// it is listened on by monitoring.
func TestLongerThanTheAdapterWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{
			{"0322F19055555555", []piece{{after: 1020 * time.Millisecond, text: "NO DATA\r" + prompt}}},
			{"ATMA", []piece{{after: 500 * time.Millisecond, text: "7E8 10 08 62 F1 90 01 02 03\r"}, {after: 900 * time.Millisecond, text: "7E8 21 04 05\r"}}},
			{"0322F19055555555", []piece{{after: 1020 * time.Millisecond, text: "NO DATA\r" + prompt}}},
			{"ATMA", nil},
			{"0322F19055555555", says("7E8 10 08 62 F1 90 01 02 03\r" + prompt)},
			{"ATMA", []piece{{after: 300 * time.Millisecond, text: "7E8 21 04 05\r"}}},
			{"0322F19055555555", says("7E8 10 08 62 F1 90 01 02 03\r" + prompt)},
			{"ATMA", nil},
		}}
		a, _ := openDevice(t, d)
		m := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x90}, Wait: 2 * time.Second}
		send(t, a.Link(), m)
		same(t, received(t, a.Link(), 4*time.Second), "7E8 62F1900102030405")
		send(t, a.Link(), m)
		same(t, received(t, a.Link(), 4*time.Second), "silence 7E0: NO DATA")
		m.Wait = 100 * time.Millisecond
		send(t, a.Link(), m)
		same(t, received(t, a.Link(), 4*time.Second), "7E8 62F1900102030405")
		send(t, a.Link(), m)
		same(t, received(t, a.Link(), 4*time.Second), "torn 7E8 6/8")
	})
}

// A context that ends while the adapter sets something: it is stopped, and the next request finds it ready.
func TestContextEndsInSetting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{{"0209025555555555", []piece{{after: 20 * time.Second, text: prompt}}}, {"023E005555555555", says("7E8 02 7E 00\r" + prompt)}}}
		a, _ := openDevice(t, d)
		slow := link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x09, 0x02}, Wait: 20 * time.Second}
		send(t, a.Link(), slow)
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		if err := a.Link().Send(ctx, link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}}); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("%v", err)
		}
		same(t, received(t, a.Link(), 30*time.Second), "alert: no prompt")
		send(t, a.Link(), link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x3E, 0x00}, Wait: time.Second})
		same(t, received(t, a.Link(), time.Second), "7E8 7E00")
	})
}

// The rungs of opening.
func TestOpenRungs(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     map[string]string
		script []step
		step   adapter.Step
		says   string
	}{
		{"nothing but noise", map[string]string{"ATWS": "\xFF\xFE\r", "ATZ": "x\r", "ATE0": "y\r"}, nil, adapter.StepAdapter, "does not answer"},
		{"headers refused", map[string]string{"ATH1": "?\r"}, nil, adapter.StepAdapter, "who answered"},
		{"no bus", nil, []step{{harmless, says("SEARCHING...\rUNABLE TO CONNECT\r" + prompt)}, {harmless, says("CAN ERROR\r" + prompt)},
			{harmless, says("CAN ERROR\r" + prompt)}, {harmless, says("CAN ERROR\r" + prompt)}, {harmless, says("BUS BUSY\r" + prompt)}}, adapter.StepBus, "UNABLE TO CONNECT"},
		{"the port vanishes", nil, []step{{harmless, []piece{{text: "SEARCHING..."}, {after: time.Second, hang: true}}}}, adapter.StepPort, "gone"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{at: defaults(c.at), script: c.script}
				_, err := Open(t.Context(), attach(t, d), Options{Place: "serial:test"})
				var open *adapter.OpenError
				if !errors.As(err, &open) || open.Step != c.step || open.Place != "serial:test" || !strings.Contains(err.Error(), c.says) {
					t.Errorf("%v", err)
				}
			})
		})
	}
}

// A bus at 250 kbit/s is found by trying; NO DATA on a protocol means that there is a bus.
func TestOpenTriesProtocols(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{script: []step{{harmless, says("SEARCHING...\rUNABLE TO CONNECT\r" + prompt)}, {harmless, says("CAN ERROR\r" + prompt)},
			{harmless, says("CAN ERROR\r" + prompt)}, {harmless, says("NO DATA\r" + prompt)}}}
		a, _ := openDevice(t, d)
		if got := a.Abilities(); got.BitRate != 250000 || got.Protocol != "11-bit, 250 kbit/s" {
			t.Errorf("%+v", got)
		}
	})
}

// Line speeds are tried until an adapter answers; junk left by a wrong one spoils the first line only.
func TestOpenTriesSpeeds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{at: defaults(nil)}
		port := &speedy{Conn: attach(t, d), right: 115200}
		a, err := Open(t.Context(), port, Options{Speeds: []int{38400, 9600, 115200}, SetSpeed: func(v int) error { port.now = v; return nil }})
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		if got := a.Abilities(); got.LineSpeed != 115200 || got.Version != "ELM327 v1.5" || got.Name != "Serial adapter" {
			t.Errorf("%+v", got)
		}
	})
}

// A context that ends during the search stops the adapter.
func TestOpenIsCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &device{at: defaults(nil), script: []step{{harmless, []piece{{text: "SEARCHING..."}, {after: time.Hour, text: prompt}}}}}
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		begun := time.Now()
		_, err := Open(ctx, attach(t, d), Options{Place: "serial:test"})
		if took := time.Since(begun); !errors.Is(err, context.DeadlineExceeded) || took > 4*time.Second {
			t.Errorf("%v after %v", err, took)
		}
	})
}

// A long request goes out frame by frame, as the module's flow control allows (ISO 15765-2): a wait, then blocks of
// two with 20 ms between frames.
func TestLongRequest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ok := []piece{{text: prompt}}
		d := &device{script: []step{
			{"101E0001020304051", says("7E8 31 00 00\r" + prompt)},
			{"ATMA", []piece{{after: 300 * time.Millisecond, text: "7E8 30 02 14\r"}}},
			{"21060708090A0B0C", ok},
			{"220D0E0F101112131", says("7E8 30 02 14\r" + prompt)},
			{"231415161718191A", ok},
			{"241B1C1D55555555", says("7E8 02 76 01\r" + prompt)},
		}}
		a, tap := openDevice(t, d)
		data := make([]byte, 30)
		for i := range data {
			data[i] = byte(i)
		}
		begun := time.Now()
		send(t, a.Link(), link.Message{Address: at(0x7E0, 0x7E8), Data: data, Wait: 500 * time.Millisecond})
		if took := time.Since(begun); took < 380*time.Millisecond || took > 400*time.Millisecond {
			t.Errorf("took %v, want 300 ms of waiting and four separation times of 20 ms", took)
		}
		same(t, received(t, a.Link(), 200*time.Millisecond), "7E8 7601")
		same(t, tap.take(), "> 7E0 101E000102030405", "< 7E8 310000", "< 7E8 300214", "> 7E0 21060708090A0B0C", "> 7E0 220D0E0F10111213",
			"< 7E8 300214", "> 7E0 231415161718191A", "> 7E0 241B1C1D55555555", "< 7E8 027601")
	})
}

func TestLongRequestIsNotTaken(t *testing.T) {
	for _, c := range []struct {
		say  string
		want error
	}{
		{"NO DATA\r" + prompt, isotp.ErrTimeoutBs}, {"7E8 32 00 00\r" + prompt, isotp.ErrOverflow}, {"7E8 35 00 00\r" + prompt, isotp.ErrInvalidFlow},
	} {
		t.Run(c.want.Error(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{script: []step{{"1008000000000000" + "1", says(c.say)}}}
				a, _ := openDevice(t, d)
				err := a.Link().Send(t.Context(), link.Message{Address: at(0x7E0, 0x7E8), Data: make([]byte, 8)})
				var torn *link.TornError
				if !errors.As(err, &torn) || !errors.Is(err, c.want) || torn.Want != 8 {
					t.Errorf("%v", err)
				}
			})
		})
	}
}

// Extended addressing: the address byte comes first, and the adapter's own flow control does not know it, so ours is sent.
func TestExtendedAddressing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		to := link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1}
		d := &device{script: []step{
			{"120322F190555555", []piece{{text: "612 F1 10 08 62 F1 90 01 02\r612 A0 01 00\r"}}},
			{"1230000355555555", says("612 F1 21 03 04 05\r" + prompt)},
		}}
		same(t, outcome(t, d, link.Message{Address: to, Data: []byte{0x22, 0xF1, 0x90}}, 5*time.Second), "612 62F1900102030405")
	})
}
