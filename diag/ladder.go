package diag

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"strings"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/uds"
)

// TroubleOf finds the row of an error, with the one next step for this system in it; ok is false for errors that no row
// is about, such as a wrong place or an ended context.
func TroubleOf(err error) (t Trouble, ok bool) {
	key := symptomOf(err, runtime.GOOS)
	if key == "" {
		return Trouble{}, false
	}
	t, _ = TroubleFor(key)
	var (
		rights *adapter.RightsError
		stop   *StopSendingError
	)
	switch {
	case errors.As(err, &rights):
		t.Next[runtime.GOOS] = strings.TrimSpace("Type this into a terminal: " + rights.Command + "  " + rights.Then)
	case errors.As(err, &stop): // measured, it says more than the row
		t.Seen, t.Causes, t.Next = stop.Reason, stop.Causes, onAll(stop.Next)
		if stop.Command != "" {
			t.Next = onAll(stop.Next + " Type this into a terminal: " + stop.Command)
		}
	}
	return t, true
}

// TroubleFor is the row of a symptom.
func TroubleFor(key Symptom) (t Trouble, ok bool) {
	for _, t := range Troubles() {
		if t.Key == key {
			return t, true
		}
	}
	return Trouble{}, false
}

// symptomOf is the key of the row that an error belongs to, "" where there is none.
func symptomOf(err error, system string) Symptom {
	var (
		rights  *adapter.RightsError
		alert   *link.AdapterError
		silence *link.SilenceError
		torn    *link.TornError
		open    *adapter.OpenError
		refused *uds.NegativeError
		stop    *StopSendingError
	)
	switch {
	case err == nil, errors.Is(err, context.Canceled), errors.Is(err, adapter.ErrUnknownPlace):
		return ""
	case errors.As(err, &rights):
		return NoRights
	case errors.Is(err, adapter.ErrTaken):
		return PortTaken
	case errors.Is(err, fs.ErrPermission):
		if system == "windows" { // where it says so of a port that is in use
			return PortTaken
		}
		return NoRights
	case errors.Is(err, fs.ErrNotExist):
		return NotListed
	case errors.Is(err, adapter.ErrNoSupply):
		return NoSupply
	case errors.As(err, &stop), errors.Is(err, bus.ErrOff):
		return BusErrors
	case errors.As(err, &alert) && alert.Damaged && alertSymptom(alert.Text) == CommandsRefused:
		return HalfAnswer
	case errors.As(err, &alert):
		return alertSymptom(alert.Text)
	case errors.As(err, &torn):
		return HalfAnswer
	case errors.As(err, &refused):
		return refusalSymptom(refused)
	case errors.As(err, &silence):
		if strings.Contains(silence.Text, "BUS INIT") {
			return BusInitFails
		}
		return NoData
	case errors.Is(err, uds.ErrNoAnswer), errors.Is(err, ErrNobodyAnswered):
		return NoData
	case errors.Is(err, adapter.ErrUnfit), errors.Is(err, link.ErrNotExact):
		return CommandsRefused
	case errors.As(err, &open) && open.Step == adapter.StepPort && networked(open.Place):
		return "" // no row is about a network
	case errors.As(err, &open):
		return openSymptom(open.Step)
	case errors.Is(err, link.ErrGone), errors.Is(err, bus.ErrGone):
		return StopsLater
	}
	return ""
}

// openSymptom is that of a step which failed for a reason that says no more.
func openSymptom(step adapter.Step) Symptom {
	switch step {
	case adapter.StepPort:
		return NotListed
	case adapter.StepAdapter:
		return AdapterSilent
	case adapter.StepBus:
		return NoConnection
	}
	return ""
}

// alerts are the adapter's own words without spaces, as they begin or end (ELM327 data sheet, error messages).
var alerts = []struct {
	text string
	key  Symptom
}{
	{"UNABLETOCONNECT", NoConnection}, {"NODATA", NoData}, {"NOANSWER", NoConnection}, {"NOEND", NoConnection}, {"BUSINIT", BusInitFails},
	{"CANERROR", BusErrors}, {"BUSERROR", BusErrors}, {"BUSBUSY", BusErrors}, {"FBERROR", BusErrors},
	{"RXERROR", AdapterAlert}, {"DATAERROR", AdapterAlert}, {"STOPPED", AdapterAlert}, {"BUFFERFULL", AdapterAlert},
	{"ACTALERT", AdapterAlert}, {"LPALERT", AdapterAlert}, {"LVRESET", AdapterAlert}, {"ERR", AdapterAlert},
	{"ELM32", AdapterAlert}, {"NOPROMPT", AdapterSilent}, {"?", CommandsRefused}, {"REFUSED", CommandsRefused},
	{"IDENTIFIERS", CommandsRefused},
}

// alertSymptom is that of the adapter's own words. A line that nobody understands is one of which a part is missing.
func alertSymptom(text string) Symptom {
	s := strings.ToUpper(strings.ReplaceAll(text, " ", ""))
	for _, a := range alerts {
		if strings.Contains(s, a.text) {
			return a.key
		}
	}
	if s != "" && strings.Trim(s, "0123456789ABCDEF.:<>") == "" {
		return HalfAnswer
	}
	return CommandsRefused
}

// refusalSymptom is that of a module's refusal.
func refusalSymptom(e *uds.NegativeError) Symptom {
	switch e.Code {
	case 0x33, 0x34:
		return Locked
	case 0x22:
		return NotNow
	}
	return ""
}

// LinkTest takes the steps of the link test that opening an adapter leaves open: whether a module answers, and whether a
// long answer arrives whole. It asks all modules which parameters they offer, and for the car's identification number;
// both only read. Each step is told as [adapter.Options] has it. The error is that of a step that failed. On a bus that
// must be left alone it is the step of the bus that fails, with a [*StopSendingError].
func (v *Visit) LinkTest(ctx context.Context, tell func(adapter.Rung)) error {
	v.busy.Lock()
	defer v.busy.Unlock()
	if err := v.maySend(ctx); err != nil {
		return tellStopped(err, tell)
	}
	all := []link.Address{link.Functional11(), link.Functional29()}
	if a, ok := v.everyone(); ok {
		all = []link.Address{a}
	} else if !v.conn.Abilities().Wide {
		all = all[:1]
	}
	tell(adapter.Rung{Step: adapter.StepModule, State: adapter.RungTrying, Seen: "All modules are asked whether they are there."})
	var answers, long int
	var trouble error
	for _, a := range all {
		n, whole, err := v.tryModules(ctx, a, func() {
			if answers == 0 {
				tell(adapter.Rung{Step: adapter.StepLong, State: adapter.RungTrying, Seen: "The car's identification number is asked for."})
			}
		})
		answers, long = answers+n, long+whole
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil && trouble == nil:
			trouble = err
		}
	}
	return v.tellTested(answers, long, trouble, tell)
}

// tellStopped tells that the bus must be left alone; every other error is returned as it is.
func tellStopped(err error, tell func(adapter.Rung)) error {
	var stop *StopSendingError
	if errors.As(err, &stop) {
		tell(adapter.Rung{Step: adapter.StepBus, State: adapter.RungFailed, Seen: stop.Reason, Err: err})
	}
	return err
}

// tellTested tells what came of the test.
func (v *Visit) tellTested(answers, long int, trouble error, tell func(adapter.Rung)) error {
	if stop := (*StopSendingError)(nil); errors.As(trouble, &stop) {
		return tellStopped(trouble, tell)
	}
	switch {
	case answers == 0 && trouble != nil:
		tell(adapter.Rung{Step: adapter.StepModule, State: adapter.RungFailed, Seen: "No module could be asked.", Err: trouble})
		return trouble
	case answers == 0:
		tell(adapter.Rung{Step: adapter.StepModule, State: adapter.RungUnknown,
			Seen: "No module answered requests to all. Many battery cars don't; reading asks one address after another."})
		return nil
	}
	tell(adapter.Rung{Step: adapter.StepModule, State: adapter.RungHeld, Seen: fmt.Sprintf("Modules that answered: %d.", answers)})
	switch {
	case long > 0:
		tell(adapter.Rung{Step: adapter.StepLong, State: adapter.RungHeld, Seen: "A long answer arrived whole."})
	case trouble != nil:
		tell(adapter.Rung{Step: adapter.StepLong, State: adapter.RungFailed, Seen: "A long answer did not arrive whole.", Err: trouble})
		return trouble
	default:
		tell(adapter.Rung{Step: adapter.StepLong, State: adapter.RungUnknown, Seen: "No module tells its number to all, so no long answer was tried."})
	}
	return nil
}

// tryModules counts the modules at an address that answer, and those whose number arrives whole.
func (v *Visit) tryModules(ctx context.Context, all link.Address, next func()) (answers, whole int, err error) {
	p := v.router.Peer(all)
	defer p.Close()
	c := v.parameters(p, all)
	offered, err := c.Offered(ctx)
	if err != nil {
		return 0, 0, heardNothing(err)
	}
	answers = len(offered.IDs())
	if answers == 0 {
		return 0, 0, nil
	}
	next()
	numbers, err := c.VIN(ctx)
	for _, n := range numbers {
		switch {
		case n.Err == nil:
			whole++
		case err == nil && negative(n.Err) == nil:
			err = n.Err
		}
	}
	return answers, whole, heardNothing(err)
}

// heardNothing is err, but nil where it means silence.
func heardNothing(err error) error {
	if errors.Is(err, obd.ErrNoAnswer) {
		return nil
	}
	return err
}
