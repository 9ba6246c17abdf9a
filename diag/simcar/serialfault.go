package simcar

import "strings"

// AdapterSpec is how a scenario's serial adapter differs from the data sheet: an older one, a copy, or a broken one. It
// is what ServeSerial and ServeTCP play; the other adapters have no use for it.
type AdapterSpec struct {
	Version string   `json:"version"` // what it says of itself
	Unknown []string `json:"unknown"` // commands answered with "?", see SerialOptions
	Ignores []string `json:"ignores"` // commands answered with OK that change nothing, written as in unknown
	Starts  []string `json:"starts"`  // settings that it has after switching on, such as L1
	Hangs   []string `json:"hangs"`   // commands after which it says nothing until a byte comes, written as in unknown
	Dies    []string `json:"dies"`    // commands after which it says nothing until it is unplugged

	Speed    int  `json:"speed"`    // of its line, bit/s; 0: the line takes no time
	Falsely  bool `json:"falsely"`  // it says OK to a change of speed, and what it says at the new one is spoilt
	Buffer   int  `json:"buffer"`   // bytes, see SerialOptions
	Slow     int  `json:"slow"`     // ms that it takes before it begins with a line
	Gaps     int  `json:"gaps"`     // spaces more between bytes
	Pieces   int  `json:"pieces"`   // bytes that it sends at a time; needs speed. 0: as it likes
	Pause    int  `json:"pause"`    // ms between pieces
	Lose     int  `json:"lose"`     // each byte of answers whose number this divides is lost; 0: none
	LoseOver int  `json:"loseOver"` // bit/s: bytes are lost only while the line is faster
	NoPrompt bool `json:"noPrompt"` // it never shows its prompt
	NoFlow   bool `json:"noFlow"`   // it never sends flow control
	Stray    Hex  `json:"stray"`    // bytes behind the prompt after a reset

	Alert Alert `json:"alert"`
}

// Alert is something that ends an answer, once: the adapter says so, and has lost its settings unless Keeps is set.
type Alert struct {
	After int    `json:"after"` // lines of answers shown before it; 0: there is no alert
	Says  string `json:"says"`
	Keeps bool   `json:"keeps"`
}

func (a *AdapterSpec) validate() error {
	switch {
	case a == nil:
		return nil
	case a.Speed < 0 || a.Buffer < 0 || a.Slow < 0 || a.Gaps < 0 || a.Pieces < 0 || a.Pause < 0 || a.Lose < 0 || a.LoseOver < 0 || a.Alert.After < 0:
		return wrong("adapter", "has a number below 0")
	case a.Slow > 60000 || a.Pause > 60000:
		return wrong("adapter", "takes more than 60000 ms")
	case a.Pieces > 0 && a.Speed == 0:
		return wrong("adapter.pieces", "need a speed")
	}
	for _, s := range a.Starts {
		probe := settings{}
		if n := len(s) - 1; n < 1 || s[n] != '0' && s[n] != '1' || probe.flag(s[:n]) == nil {
			return wrong("adapter.starts", "%q is no setting", s)
		}
	}
	return nil
}

// with are the options with what the scenario says of the adapter; an option that is set goes before.
func (o SerialOptions) with(a *AdapterSpec) SerialOptions {
	if a == nil {
		return o
	}
	if o.Version == "" {
		o.Version = a.Version
	}
	if o.BitRate == 0 {
		o.BitRate = a.Speed
	}
	if o.Buffer == 0 {
		o.Buffer = a.Buffer
	}
	o.Unknown = append(append([]string{}, o.Unknown...), a.Unknown...)
	return o
}

// listed tells whether a command begins as one of a list does; # stands for any character there.
func listed(list []string, command string) bool {
	for _, want := range list {
		if len(command) < len(want) {
			continue
		}
		like := true
		for i := range len(want) {
			like = like && (want[i] == '#' || want[i] == command[i])
		}
		if like {
			return true
		}
	}
	return false
}

// spec is the scenario's adapter, all zero where the scenario has none.
func (d *device) spec() *AdapterSpec {
	if a := d.car.spec.Adapter; a != nil {
		return a
	}
	return &AdapterSpec{}
}

// begin gives the settings after a reset what this adapter starts with.
func (d *device) begin() {
	d.reset()
	for _, s := range d.spec().Starts {
		n := len(s) - 1
		*d.set.flag(s[:n]) = s[n] == '1'
	}
	d.set.gaps = d.spec().Gaps
}

// alerted tells after each line of an answer whether the adapter has broken off with its alert.
func (d *device) alerted() bool {
	a := d.spec().Alert
	d.rows++
	if a.After == 0 || d.rows != a.After {
		return false
	}
	end := d.set.end()
	if !a.Keeps {
		d.begin()
		d.slowDown()
	}
	d.print(end, a.Says, end)
	return true
}

// lossy is text of an answer without the bytes that this adapter loses.
func (d *device) lossy(text string) string {
	every := d.spec().Lose
	if every == 0 || d.spec().LoseOver > 0 && d.out.speed() <= d.spec().LoseOver {
		return text
	}
	var out strings.Builder
	for i := range len(text) {
		if d.told++; d.told%every != 0 {
			out.WriteByte(text[i])
		}
	}
	return out.String()
}

// offer shows a line of an answer; it says why it could not.
func (d *device) offer(row string) (more bool) {
	if !d.out.offer(d.lossy(row)) {
		d.printLine("BUFFER FULL")
		return false
	}
	return !d.alerted()
}

// prompts shows that the device is ready.
func (d *device) prompts() {
	if !d.spec().NoPrompt {
		d.print(d.set.end(), prompt)
	}
	if d.fresh {
		d.print(string(d.spec().Stray))
		d.fresh = false
	}
}
