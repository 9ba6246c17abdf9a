package app

import (
	"context"
	"errors"
	"iter"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/dtc"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/trace"
)

// begin is the time at which every scripted visit begins.
var begin = time.Date(2026, 11, 25, 14, 2, 0, 0, time.Local)

// fakeVisit is a scripted visit to a car: it answers from plain values and notes what it was asked to do.
type fakeVisit struct {
	mu        sync.Mutex
	place     adapter.Place // "" is the practice car's
	abilities adapter.Abilities
	hasSupply bool
	health    diag.Health
	modules   []diag.ModuleView
	patterns  []diag.Pattern
	complete  bool
	steps     []diag.Progress
	lookErr   error
	hold      chan struct{} // when not nil, Look waits here after its steps, or for its context
	explains  map[string]explain.Explanation
	compares  explain.Comparison
	latches   []gate.Latch
	result    *diag.Result
	sendSteps []diag.SendStep
	sendErr   error
	sendHold  chan struct{}

	looked, closed, measured int
	sent                     []string
	said                     map[gate.Key]bool
	words                    string
	record                   garage.Visit
	car                      garage.Car
	ended                    *diag.Result
	offset                   float64
	readings                 []adapter.SupplyReading // nil: it does not measure by itself
	rungs                    []adapter.Rung          // told by the last two steps of the link test
	tests                    int
	testErr                  error
	pulled                   chan error    // ends the connection
	wire                     []trace.Entry // what went over it so far

	offers    []diag.LiveValue
	tells     []uint16 // identifiers that it tells when they are added
	offerErr  error
	offerHold chan struct{}    // when not nil, Offered waits here, or for its context
	feed      chan diag.Sample // what is read; closed: reading breaks with feedErr
	feedErr   error
	added     []uint16
	watched   [][]diag.LiveKey // what was to be watched, each time
	watching  int              // how many do now
}

func (f *fakeVisit) lock() func() { f.mu.Lock(); return f.mu.Unlock }

func (f *fakeVisit) Close() error { defer f.lock()(); f.closed++; return nil }
func (f *fakeVisit) Place() adapter.Place {
	if f.place != "" {
		return f.place
	}
	return "practice:"
}

func (f *fakeVisit) Adapter() adapter.Abilities    { return f.abilities }
func (f *fakeVisit) Measure(context.Context) error { defer f.lock()(); f.measured++; return nil }
func (f *fakeVisit) Supply(context.Context) (float64, bool) {
	defer f.lock()()
	if n := len(f.readings); n > 0 {
		return f.readings[n-1].Volts + f.offset, f.hasSupply
	}
	return 12.7, f.hasSupply
}
func (f *fakeVisit) Health(context.Context) (diag.Health, bool, error) {
	defer f.lock()()
	return f.health, f.health.Verdict != "", nil
}

func (f *fakeVisit) SetSupplyOffset(volts float64) bool {
	defer f.lock()()
	if f.readings != nil {
		f.offset = volts
	}
	return f.readings != nil
}

func (f *fakeVisit) SupplyReadings() ([]adapter.SupplyReading, bool) {
	defer f.lock()()
	out := slices.Clone(f.readings)
	for i := range out {
		out[i].Volts += f.offset
	}
	return out, f.readings != nil
}

// shows lets the adapter's voltmeter show something more.
func (f *fakeVisit) shows(at time.Time, volts ...float64) {
	defer f.lock()()
	for i, v := range volts {
		f.readings = append(f.readings, adapter.SupplyReading{At: at.Add(time.Duration(i-len(volts)+1) * 10 * time.Second), Volts: v})
	}
}

func (f *fakeVisit) LinkTest(_ context.Context, tell func(adapter.Rung)) error {
	unlock := f.lock()
	f.tests++
	rungs, err := f.rungs, f.testErr
	unlock()
	for _, r := range rungs {
		tell(r)
	}
	return err
}

func (f *fakeVisit) Wait(ctx context.Context) error {
	select {
	case err := <-f.pulled:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (f *fakeVisit) Tally() diag.Tally {
	defer f.lock()()
	return diag.Tally{Reads: 62 * f.looked, Changes: len(f.sent)}
}
func (f *fakeVisit) Since(seq uint64) ([]trace.Entry, uint64) {
	defer f.lock()()
	return slices.Clone(f.wire[min(seq, uint64(len(f.wire))):]), uint64(len(f.wire))
}
func (f *fakeVisit) Car() garage.Car { defer f.lock()(); return f.car }
func (f *fakeVisit) Record() (garage.Visit, bool) {
	defer f.lock()()
	return f.record, f.record.ID != 0
}
func (f *fakeVisit) Modules() []diag.ModuleView { return f.modules }
func (f *fakeVisit) Patterns() []diag.Pattern   { return f.patterns }
func (f *fakeVisit) Explain(text string, _ explain.Wish) explain.Explanation {
	e := f.explains[strings.TrimSpace(text)]
	e.Input = text
	return e
}
func (f *fakeVisit) Compare(a, b string) explain.Comparison { return f.compares }
func (f *fakeVisit) Say(k gate.Key) {
	defer f.lock()()
	if f.said == nil {
		f.said = map[gate.Key]bool{}
	}
	f.said[k] = true
}
func (f *fakeVisit) Filler(link.Address) byte { return 0x55 }
func (f *fakeVisit) Unsay(k gate.Key)         { defer f.lock()(); delete(f.said, k) }
func (f *fakeVisit) SayBack(s string)         { defer f.lock()(); f.words = s }
func (f *fakeVisit) Result() *diag.Result     { defer f.lock()(); return f.ended }

func (f *fakeVisit) Latches(explain.Explanation) []gate.Latch {
	defer f.lock()()
	out := append([]gate.Latch{}, f.latches...)
	for i := range out {
		l := &out[i]
		switch {
		case l.Key == gate.SaidBack:
			l.InLine = f.words == "maple"
		case f.said[l.Key]:
			l.InLine, l.Source, l.At, l.Why = true, gate.Owner, begin, "said by you 3 s ago"
		}
	}
	return out
}

func (f *fakeVisit) Look(ctx context.Context, name string) iter.Seq2[diag.Progress, error] {
	return func(yield func(diag.Progress, error) bool) {
		for _, p := range f.steps {
			if !yield(p, nil) {
				return
			}
		}
		if f.hold != nil {
			select {
			case <-f.hold:
			case <-ctx.Done():
			}
		}
		unlock := f.lock()
		f.looked++
		f.car = garage.Car{ID: 1, Name: "Blue Tarn van", VIN: "0TNCE23E3P0004217", Model: "Tarn Courier E", Practice: f.abilities.Practice, Odometer: "41 206 km"}
		f.record = garage.Visit{ID: int64(f.looked), CarID: 1, Begun: begin, Ended: begin.Add(20 * time.Second), Complete: f.complete && ctx.Err() == nil}
		unlock()
		if err := errors.Join(ctx.Err(), f.lookErr); err != nil {
			yield(diag.Progress{}, err)
		}
	}
}

func (f *fakeVisit) Send(ctx context.Context, e explain.Explanation) iter.Seq2[diag.SendStep, error] {
	return func(yield func(diag.SendStep, error) bool) {
		unlock := f.lock()
		f.sent = append(f.sent, e.Frame.IDText+"#"+e.Frame.DataText)
		f.ended = nil
		unlock()
		for _, s := range f.sendSteps {
			if !yield(s, nil) {
				return
			}
		}
		if f.sendHold != nil {
			select {
			case <-f.sendHold:
			case <-ctx.Done():
			}
		}
		unlock = f.lock()
		f.ended = f.result
		unlock()
		if err := errors.Join(ctx.Err(), f.sendErr); err != nil {
			yield(diag.SendStep{}, err)
		}
	}
}

// fakeLog is a logbook in memory.
type fakeLog struct {
	exported []int64 // cars
	imported []int64 // sizes of files
	mu       sync.Mutex
	whole    map[int64]garage.Visit // visits with all that was read
	open     []garage.Entry
	cars     map[int64]garage.Car
	cards    []garage.Card
	notes    []garage.Note
	meter    []garage.MeterReading

	garage  []garage.Car
	visits  []garage.Summary
	history garage.History
	journal []garage.Entry
	proof   []garage.ProofStep
	reports []garage.Report

	recordings []garage.Recording // their files are paths

	offsets map[string]float64 // of voltmeters, by place

	identifiers map[int64][]uint16 // by car
	wirings     map[int64]string
}

func (l *fakeLog) Identifiers(_ context.Context, car int64) ([]uint16, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.identifiers[car]), nil
}

func (l *fakeLog) PutIdentifiers(_ context.Context, car int64, ids []uint16, _ time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.identifiers == nil {
		l.identifiers = map[int64][]uint16{}
	}
	l.identifiers[car] = append(l.identifiers[car], ids...)
	return nil
}

func (l *fakeLog) Wiring(_ context.Context, car int64) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.wirings[car], nil
}

func (l *fakeLog) PutWiring(_ context.Context, car int64, wiring string, _ time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.wirings == nil {
		l.wirings = map[int64]string{}
	}
	l.wirings[car] = wiring
	return nil
}

func (l *fakeLog) Offset(_ context.Context, place string) (float64, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	volts, ok := l.offsets[place]
	return volts, ok, nil
}

func (l *fakeLog) PutOffset(_ context.Context, place string, volts float64, _ time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.offsets == nil {
		l.offsets = map[string]float64{}
	}
	l.offsets[place] = volts
	return nil
}

// again is a logbook that begins as this one did.
func (l *fakeLog) again() *fakeLog {
	return &fakeLog{open: slices.Clone(l.open), cars: maps.Clone(l.cars), cards: slices.Clone(l.cards), notes: slices.Clone(l.notes), meter: slices.Clone(l.meter),
		garage: l.garage, visits: l.visits, whole: l.whole, history: l.history, journal: l.journal, proof: slices.Clone(l.proof), reports: l.reports, recordings: l.recordings, offsets: maps.Clone(l.offsets)}
}

func (l *fakeLog) Cars(context.Context) ([]garage.Car, error) { return l.garage, nil }
func (l *fakeLog) CodeHistory(context.Context, int64) (garage.History, error) {
	return l.history, nil
}
func (l *fakeLog) Visit(_ context.Context, id int64) (garage.Visit, error) {
	v, ok := l.whole[id]
	if !ok {
		return v, garage.ErrNotFound
	}
	return v, nil
}

func (l *fakeLog) Journal(context.Context, int64) ([]garage.Entry, error) { return l.journal, nil }
func (l *fakeLog) Reports(context.Context, int64) ([]garage.Report, error) {
	return l.reports, nil
}

func (l *fakeLog) Recordings(_ context.Context, carID int64) ([]garage.Recording, error) {
	var out []garage.Recording
	for _, r := range l.recordings {
		if r.CarID == carID {
			out = append(out, r)
		}
	}
	return out, nil
}

func (l *fakeLog) RecordingPath(r garage.Recording) string { return r.File }

func (l *fakeLog) Proof(_ context.Context, entry int64) ([]garage.ProofStep, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(l.proof), func(p garage.ProofStep) bool { return p.Entry != entry }), nil
}

func (l *fakeLog) DueProof(_ context.Context, now time.Time) ([]garage.ProofStep, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(l.proof), func(p garage.ProofStep) bool { return !p.Open() || p.Due.After(now) }), nil
}

func (l *fakeLog) ProofDone(_ context.Context, id, visit int64, at time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := range l.proof {
		if l.proof[i].ID == id {
			l.proof[i].Visit, l.proof[i].Done = visit, at
		}
	}
	return nil
}

func (l *fakeLog) LeaveProof(_ context.Context, id int64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := range l.proof {
		if l.proof[i].ID == id {
			l.proof[i].Left = true
		}
	}
	return nil
}

func (l *fakeLog) Meter(context.Context, int64) ([]garage.MeterReading, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]garage.MeterReading{}, l.meter...), nil
}

func (l *fakeLog) PutMeter(_ context.Context, _ int64, r []garage.MeterReading) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.meter = append(l.meter, r...)
	return nil
}

func (l *fakeLog) Cards(context.Context, int64) ([]garage.Card, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]garage.Card{}, l.cards...), nil
}

func (l *fakeLog) PutCard(_ context.Context, _ int64, c garage.Card) (garage.Card, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	c.ID = int64(len(l.cards) + 1)
	l.cards = append(l.cards, c)
	return c, nil
}

func (l *fakeLog) RemoveCard(_ context.Context, id int64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cards = slices.DeleteFunc(l.cards, func(c garage.Card) bool { return c.ID == id })
	return nil
}

func (l *fakeLog) Notes(context.Context, int64) ([]garage.Note, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]garage.Note{}, l.notes...), nil
}

func (l *fakeLog) PutNote(_ context.Context, _ int64, code string, n garage.Note) (garage.Note, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	n.Code = code
	l.notes = append(l.notes, n)
	return n, nil
}

func (l *fakeLog) Car(_ context.Context, id int64) (garage.Car, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	c, ok := l.cars[id]
	if !ok {
		return garage.Car{ID: id, VIN: "0TNCE23E3P0004217", Practice: true}, nil
	}
	return c, nil
}

func (l *fakeLog) PutCar(_ context.Context, c garage.Car) (garage.Car, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cars == nil {
		l.cars = map[int64]garage.Car{}
	}
	l.cars[c.ID] = c
	return c, nil
}

func (l *fakeLog) Visits(context.Context, int64) ([]garage.Summary, error) {
	if l.visits != nil {
		return l.visits, nil
	}
	return []garage.Summary{
		{ID: 2, Kind: garage.KindReadBack, Begun: begin, Complete: true, Modules: 11, Codes: 7, Now: 2},
		{ID: 1, Kind: garage.KindLook, Begun: begin.Add(-100 * time.Hour), Modules: 9, Silent: 2, Codes: 9, Now: 3},
	}, nil
}

func (l *fakeLog) Unknown(context.Context) ([]garage.Entry, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]garage.Entry{}, l.open...), nil
}

func (l *fakeLog) MarkSeen(_ context.Context, id int64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	kept := l.open[:0]
	for _, e := range l.open {
		if e.ID != id {
			kept = append(kept, e)
		}
	}
	l.open = kept
	return nil
}

func status(s dtc.Status) *dtc.Status { return &s }

func code(c dtc.Code, s dtc.Status, snaps ...garage.Snapshot) diag.CodeView {
	return diag.CodeView{Record: garage.CodeRecord{Code: c, Raw: c.Bytes(), Status: &s, Snapshots: snaps}, Describe: dtc.Describe(c, &s, 0xFF, nil)}
}

func module(name string, ask, answer uint32, views ...diag.CodeView) diag.ModuleView {
	return diag.ModuleView{Module: garage.Module{Name: name, Request: link.ID11(ask), Answer: link.ID11(answer), Protocol: "UDS", Answered: garage.Yes,
		CodesRead: garage.Yes, Availability: status(0xFF)}, Views: views}
}

// vanVisit is a visit to a van with a flap lock fault after a flat battery.
func vanVisit() *fakeVisit {
	snap := garage.Snapshot{Record: 1, Values: []garage.Value{{Identifier: 0xD001, Name: "Odometer", Text: "41 198 km"}, {Identifier: 0xD002, Name: "12 V supply", Text: "10.9 V"}, {Identifier: 0xD0F7, Raw: []byte{0x13, 0x37, 0x00}}}}
	brakes := module("Brakes", 0x760, 0x768,
		code(dtc.From3(0x40, 0x40, 0x1C), 0x2F),
		code(dtc.From3(0xC1, 0x00, 0x00), 0x50))
	brakes.Safety = true
	silent := module("Module 7E6", 0x7E6, 0x7EE)
	silent.Answered, silent.CodesRead = garage.Silent, garage.NotAsked
	old := module("Heater", 0x7E3, 0x7EB)
	old.CodesRead, old.Refusal = garage.Refused, "service not supported"
	return &fakeVisit{
		abilities: adapter.Abilities{Name: "Practice car", Practice: true, Raw: true, Parallel: 8, Exact: true, Wide: true, Supply: true, Listens: true, BitRate: 500000, Protocol: "11-bit, 500 kbit/s"},
		hasSupply: true, complete: true,
		steps: []diag.Progress{{Stage: diag.StageListen}, {Stage: diag.StageSweep, Done: 100, Total: 256, Answered: 4}, {Stage: diag.StageCodes, Module: "Charging", Done: 4, Total: 11, Answered: 3}},
		modules: []diag.ModuleView{
			module("Drive", 0x7E0, 0x7E8),
			module("Charging", 0x7E5, 0x7ED,
				code(dtc.From3(0x1D, 0x5A, 0x13), 0x2F, snap),
				code(dtc.From3(0xC1, 0x40, 0x87), 0x28)),
			module("Body", 0x726, 0x72E,
				code(dtc.From3(0x9A, 0x14, 0x15), 0x2F),
				code(dtc.From3(0xF0, 0x03, 0x16), 0x28),
				code(dtc.From3(0xC1, 0x55, 0x00), 0x28)),
			brakes, module("Gateway", 0x710, 0x77A), old, silent,
		},
		patterns: []diag.Pattern{{Key: "flat-battery", Text: "4 codes in 3 modules look like a flat-battery wave: the modules missed each other or their supply, and all of them only remember it. Charge and test the 12 V battery first.",
			Codes: []string{"Charging U0140-87", "Body U3003-16", "Body U0155-00", "Brakes U0100-00"}}},
		explains: map[string]explain.Explanation{
			"7E5 04 14 FF FF FF 55 55 55": clearCharging(), "7E0 03 22 F1 90 55 55 55 55": readNumber(), "7E5 14 FF": halfTyped(),
		},
		compares: explain.Comparison{A: clearCharging(), B: clearOther(), Summary: "One byte differs: byte 5. The second line would ask for a single group.", Differences: []explain.Difference{{Byte: 4, A: "FF", B: "FE", Text: "Byte 5: FF asks for all groups, FE does not."}}},
		latches: []gate.Latch{
			{Key: gate.Standing, Title: "The car is standing still", InLine: true, Value: "0 km/h", Why: "before sending it is measured again", Source: gate.FromCar, At: begin},
			{Key: gate.DriveOff, Title: "The drive is off, the ignition is on", InLine: true, Value: "0 rpm", Why: "the drive module says so", Source: gate.FromCar, At: begin},
			{Key: gate.SupplyGood, Title: "The 12 V supply is strong enough", InLine: true, Value: "12.7 V", Why: "needs 12.2 V or more", Source: gate.Measured, At: begin},
			{Key: gate.NotCharging, Title: "The car is not charging", Why: "this car does not tell; look at the flap and say so", Source: gate.Nothing, CanSay: true},
			{Key: gate.RecordSaved, Title: "A full record is saved", InLine: true, Value: "today 14:02", Why: "9 codes, 4 snapshots, 11 modules", Source: gate.Program, At: begin},
			{Key: gate.SafetyRead, Title: "Brakes have a fault that is happening now", Why: "this request does not touch the brake module. Read the note, then say so.", Source: gate.FromCar, At: begin, CanSay: true},
			{Key: gate.SaidBack, Title: "Say the request back", Why: "type the first of the three read-back words", Source: gate.Nothing},
		},
		sendSteps: []diag.SendStep{{Stage: diag.SendMeasure}, {Stage: diag.SendWrite}, {Stage: diag.SendOut},
			{Stage: diag.SendAnswer, Answer: &diag.Answer{From: "7ED", AfterMs: 12, Hex: "7F1478", Text: "understood, I need a moment"}},
			{Stage: diag.SendReadBack, Progress: &diag.Progress{Done: 3, Total: 11, Answered: 3}}},
		result: clearResult(),
	}
}

func frame(id link.ID, data ...byte) *explain.Frame {
	return &explain.Frame{ID: id, IDText: id.String(), Data: data, DataText: strings.ReplaceAll(bytesOf(data), " ", "")}
}

func clearCharging() explain.Explanation {
	return explain.Explanation{
		Input: "7E5 04 14 FF FF FF 55 55 55", Frame: frame(link.ID11(0x7E5), 0x04, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55), Direction: explain.Request, Service: "14",
		Summary: "Asks the Charging module to forget 2 codes. One of them is happening now and will come back.",
		Fields: []explain.Field{
			{From: -1, To: 0, Hex: "7E5", Name: "Who is asked", Text: "The Charging module only. It answers at 7ED. Other modules ignore this.", Source: "ISO 15765-4, identifiers"},
			{From: 0, To: 1, Hex: "04", Name: "How long", Text: "One short message: the next 4 bytes count, the rest is filling.", Source: "ISO 15765-2, single frame"},
			{From: 1, To: 2, Hex: "14", Name: "What to do", Text: "Forget stored trouble codes. If it agrees, the answer begins with 54 (14 + 40).", Source: "ISO 14229-1, service 14"},
			{From: 2, To: 5, Hex: "FFFFFF", Name: "Which ones", Text: "All groups: every code in this module, with its stored snapshots.", Source: "ISO 14229-1, annex D.1"},
			{From: 5, To: 8, Hex: "555555", Name: "Filling", Text: "No meaning. It only makes the frame 8 bytes long.", Source: "ISO 15765-2, single frame"},
		},
		Class: explain.Change, Reason: "It erases codes and what was kept with them. There is no undo.", Words: &[3]string{"maple", "orbit", "thirteen"},
		Lost: []string{"The 2 stored snapshots in that module.", "They are in your logbook since 14:02 today."}, Cannot: []string{"It repairs nothing.", "It changes no settings and no software."},
		Sure: "The form of the request is set by the standard, so this is known for every module that follows it.", Source: "ISO 14229-1, service 14; ISO 15765-2, single frame; ISO 15765-4, identifiers.",
	}
}

func clearOther() explain.Explanation {
	e := clearCharging()
	e.Frame = frame(link.ID11(0x7E5), 0x04, 0x14, 0xFF, 0xFF, 0xFE, 0x55, 0x55, 0x55)
	return e
}

func readNumber() explain.Explanation {
	return explain.Explanation{Frame: frame(link.ID11(0x7E0), 0x03, 0x22, 0xF1, 0x90, 0x55, 0x55, 0x55, 0x55), Direction: explain.Request, Service: "22",
		Summary: "Asks the drive module for the identification number of the car.",
		Fields:  []explain.Field{{From: -1, Hex: "7E0", Name: "Who is asked", Text: "The Drive module only."}, {From: 0, To: 8, Hex: "0322F19055555555", Name: "What to do", Text: "Read a value."}},
		Class:   explain.Look, Reason: "The codes and what was stored with them stay in the car. It may be asked again.", Words: &[3]string{"able", "bacon", "cactus"}}
}

func halfTyped() explain.Explanation {
	return explain.Explanation{Direction: explain.Other, Class: explain.Never, Reason: "It can't be read completely.",
		Findings: []explain.Finding{{Code: "length-missing", Level: explain.Wrong, At: 4, Text: "The counting byte is missing before 14.", Fix: "Look at your instructions: a byte between 01 and 07 stands there."}},
		Nearest:  []explain.Near{{Text: "7E5 04 14 FF FF FF 55 55 55", Distance: 1, Summary: "Forget all codes of the Charging module"}}}
}

func clearResult() *diag.Result {
	return &diag.Result{Sent: true, Request: clearCharging(), Outcome: garage.Accepted, SentAt: begin.Add(7 * time.Minute),
		Answers: []diag.Answer{{From: "7ED", AfterMs: 12, Hex: "7F1478", Text: "understood, I need a moment.", Frames: []string{"7ED#037F1478AAAAAAAA"}}, {From: "7ED", AfterMs: 38, Hex: "54", Text: "done, my codes are forgotten."}},
		ReadBack: &diag.ReadBack{
			Gone: []diag.Fate{{Module: "Charging", Code: "U0140-87", Text: "gone"}}, Back: []diag.Fate{{Module: "Charging", Code: "P1D5A-13", Text: "back already: it is a fault of today, not a memory"}},
			Unchanged: []diag.Fate{{Module: "Body", Code: "B1A14-15", Text: "unchanged: Body was not asked"}}, New: []diag.Fate{}, Unknown: []diag.Fate{}}}
}

// fakeFound is what a computer with one adapter finds.
func fakeFound() []adapter.Found {
	return []adapter.Found{
		{Place: "serial:/dev/ttyUSB0", Name: "USB serial adapter", Note: "A serial port. Whether an adapter is behind it shows when it is opened.", Ready: true},
		{Place: "can:can0", Name: "CAN interface can0", Note: "It is down. Bring it up first.", Rank: 1},
		{Place: "practice:", Name: "Practice car", Note: "A simulated car. Always there, never a real one.", Ready: true, Rank: 9},
	}
}

var errNothing = errors.New("nothing answers")
