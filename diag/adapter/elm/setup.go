package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
)

// protocol is one of the adapter's protocols (data sheet, list of protocols).
type protocol struct {
	number byte       // as in AT SP
	wide   bool       // CAN: 29-bit identifiers
	rate   int        // bit/s
	twin   byte       // CAN: the same bit rate with the other width
	header *headerBus // a bus with header bytes; nil: CAN
}

var protocols = map[byte]protocol{
	'1': {number: '1', rate: 41600, header: &headerBuses[0]},
	'2': {number: '2', rate: 10400, header: &headerBuses[1]},
	'3': {number: '3', rate: 10400, header: &headerBuses[2]},
	'4': {number: '4', rate: 10400, header: &headerBuses[3]},
	'5': {number: '5', rate: 10400, header: &headerBuses[4]},
	'6': {number: '6', wide: false, rate: 500000, twin: '7'},
	'7': {number: '7', wide: true, rate: 500000, twin: '6'},
	'8': {number: '8', wide: false, rate: 250000, twin: '9'},
	'9': {number: '9', wide: true, rate: 250000, twin: '8'},
}

func (p protocol) String() string {
	if p.header != nil {
		return fmt.Sprintf("%s, %.1f kbit/s", p.header.name, float64(p.rate)/1000)
	}
	width := "11-bit"
	if p.wide {
		width = "29-bit"
	}
	return fmt.Sprintf("%s, %d kbit/s", width, p.rate/1000)
}

// skills are what the adapter has accepted when asked. Its version says little: copies claim what they can't do.
type skills struct {
	exact bool // CAF0: a line is the data field of a frame
	short bool // V1: frames shorter than 8 bytes
	flow  bool // FC SH, SD, SM: flow control for any pair of identifiers
	// flowBytes: FC SM 2, our bytes to the standard's identifiers
	flowBytes bool
	receive   bool // CRA
	masks     bool // CF and CM
	quiet     bool // R0: sends without waiting for answers
	narrow    bool // SH with 11 bits
	wide      bool // CP and SH: the two parts of a 29-bit identifier
	wait      bool // ST
	silent    bool // CSM1: listens without acknowledging
	faster    bool // BRD: the speed of the line
	supply    bool // RV
}

var errNoHeaders = fmt.Errorf("%w: it can't show who answered (it refuses AT H1); nothing can be read reliably with it", adapter.ErrUnfit)

const (
	greetTime  = 1200 * time.Millisecond // AT WS takes less than a full reset, which takes about 1 s (data sheet p. 22)
	resetTime  = 3 * time.Second
	settleTime = 120 * time.Millisecond // nothing arrives for so long: what was going on has ended
	// searchTime is how long the adapter may be quiet in an automatic search over all protocols, the slow ones included
	// (from memory: up to 20 s), tryTime the same for one protocol: a slow initialisation takes 3 s and is repeated.
	searchTime = 40 * time.Second
	tryTime    = 12 * time.Second
	// searchLimit is the most that all of it may take.
	searchLimit = 100 * time.Second
)

// greet finds out whether an adapter listens at this line speed, and switches its echo off.
func (c *conversation) greet(ctx context.Context) error {
	if err := c.w.write(interrupt); err != nil { // it may be monitoring
		return err
	}
	if err := c.w.quiet(ctx, settleTime); err != nil {
		return err
	}
	// The first line may be spoilt by what another speed has left in the adapter's buffer; it then says "?".
	silence := errSilent
	for _, reset := range []struct {
		line     string
		patience time.Duration
	}{{"ATWS", greetTime}, {"ATWS", greetTime}, {"ATZ", resetTime}} {
		lines, err := c.w.command(ctx, reset.line, reset.patience)
		if errors.Is(err, errSilent) && !slices.ContainsFunc(lines, adapterWords) {
			return err
		}
		if err != nil && !errors.Is(err, errSilent) {
			return err
		}
		if err := c.w.quiet(ctx, settleTime); err != nil { // some send a stray byte after a reset
			return err
		}
		lines, err = c.w.command(ctx, "ATE0", greetTime)
		if err == nil && accepted(lines) {
			return nil
		}
		if err != nil && !errors.Is(err, errSilent) {
			return err
		}
		if err != nil && accepted(lines) {
			silence = errNeverReady
		}
	}
	return silence
}

// adapterWords: the line is one that an adapter says, not noise.
func adapterWords(line string) bool { return meaningOf(line) != plain || accepted([]string{line}) }

// basics are the settings that every answer's form depends on. They come first, and again after a reset.
func (c *conversation) basics(ctx context.Context) error {
	for _, s := range []string{"ATE0", "ATL0", "ATS0", "ATM0", "ATAL"} {
		if _, err := c.try(ctx, s); err != nil { // each may be refused: the parser doesn't depend on it
			return err
		}
	}
	ok, err := c.try(ctx, "ATH1")
	if err != nil {
		return err
	}
	if !ok {
		return errNoHeaders
	}
	_, err = c.try(ctx, "ATAT0") // waits as told, without learning from fast answers
	return err
}

// probe finds out what else the adapter accepts. The protocol is known then.
func (c *conversation) probe(ctx context.Context) error {
	if c.p.header != nil {
		return nil
	}
	for _, p := range []struct {
		lines []string
		ok    *bool
	}{
		{[]string{"ATCAF0"}, &c.can.exact},
		{[]string{"ATV1", "ATV0"}, &c.can.short},
		{[]string{"ATCP18", "ATSHDA10F1"}, &c.can.wide},
		{[]string{"ATSH7E0"}, &c.can.narrow},
		{[]string{"ATST32"}, &c.can.wait},
		{[]string{"ATCSM1"}, &c.can.silent},
		{[]string{"ATFCSH7E0", "ATFCSD300000", "ATFCSM1", "ATFCSM0"}, &c.can.flow},
		{[]string{"ATFCSM2", "ATFCSM0"}, &c.can.flowBytes},
		{[]string{"ATCF700", "ATCM700"}, &c.can.masks},
		{[]string{"ATR1"}, &c.can.quiet},
	} {
		*p.ok = true
		for _, l := range p.lines {
			ok, err := c.try(ctx, l)
			if err != nil {
				return err
			}
			*p.ok = *p.ok && ok
		}
	}
	receive := "ATCRA7E8"
	if c.p.wide {
		receive = "ATCRA18DAF110"
	}
	var err error
	c.can.receive, err = c.try(ctx, receive)
	return err
}

// setUpAgain restores what an alert or a reset has lost.
func (c *conversation) setUpAgain(ctx context.Context) error {
	c.lost = false
	c.set = map[string]string{}
	if err := c.w.quiet(ctx, settleTime); err != nil {
		return err
	}
	if _, err := c.try(ctx, "ATFE"); err != nil { // after ERR94 CAN stays blocked until then (p. 88)
		return err
	}
	if err := c.basics(ctx); err != nil {
		return err
	}
	if err := c.apply(ctx, "protocol", "ATSP"+string(c.p.number)); err != nil {
		return err
	}
	if c.p.header != nil {
		return nil
	}
	format := "ATCAF1"
	if c.can.exact {
		format = "ATCAF0"
	}
	ok, err := c.try(ctx, format)
	if err == nil && !ok {
		return &link.AdapterError{Op: format, Text: "refused"}
	}
	return err
}

// try sends a setting that may be refused.
func (c *conversation) try(ctx context.Context, line string) (ok bool, err error) {
	lines, err := c.w.command(ctx, line, commandTime)
	c.notice(lines)
	if errors.Is(err, errSilent) {
		if err := c.stop(); err != nil {
			return false, err
		}
		c.seen.note(func(q *quality) { q.hangs(line) })
		return false, nil
	}
	return err == nil && accepted(lines), err
}

// notice sees an alert that has cost the settings.
func (c *conversation) notice(lines []string) {
	for _, l := range lines {
		if meaningOf(l) == lost {
			c.lost = true
		}
	}
}

// apply brings the setting called key to lines, unless it is there already.
func (c *conversation) apply(ctx context.Context, key string, lines ...string) error {
	want := strings.Join(lines, " ")
	if c.set[key] == want {
		return nil
	}
	delete(c.set, key)
	for _, l := range lines {
		answer, err := c.w.command(ctx, l, commandTime)
		c.notice(answer)
		if err != nil {
			return err
		}
		if !accepted(answer) {
			return &link.AdapterError{Op: "setting " + l, Text: clip(strings.Join(answer, " / "))}
		}
	}
	c.set[key] = want
	return nil
}

// volts reads the supply at pin 16 (AT RV); ok is false when the adapter has no such thing.
func (c *conversation) volts(ctx context.Context) (v float64, ok bool, err error) {
	lines, err := c.w.command(ctx, "ATRV", commandTime)
	c.notice(lines)
	if err != nil {
		return 0, false, err
	}
	for _, l := range lines {
		v, err := strconv.ParseFloat(strings.TrimSuffix(squeeze(l), "V"), 64)
		if err == nil && v >= 0 && v < 100 {
			return v, true, nil
		}
	}
	return 0, false, nil
}

// tell asks what the adapter says of itself.
func (c *conversation) tell(ctx context.Context) (string, error) {
	lines, err := c.w.command(ctx, "ATI", commandTime)
	if err != nil || len(lines) == 0 || meaningOf(lines[0]) == notKnown {
		return "", err
	}
	return clip(lines[len(lines)-1]), nil
}

// stepOf is the rung at which an error of opening belongs.
func stepOf(err error) adapter.Step {
	var alert *link.AdapterError
	switch {
	case errors.As(err, &alert):
		return adapter.StepBus
	case errors.Is(err, errNoPrompt):
		return adapter.StepAdapter
	case errors.Is(err, link.ErrGone):
		return adapter.StepPort
	}
	return adapter.StepAdapter
}
