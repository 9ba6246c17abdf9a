package diag

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/isotp"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/uds"
)

// Sentence turns an error into what a person should read: what happened, and the next thing to do. It is the one
// place of the program that does so; the error itself stays for those who want the detail.
func Sentence(err error) string {
	var (
		open    *adapter.OpenError
		torn    *link.TornError
		silence *link.SilenceError
		alert   *link.AdapterError
		refused *uds.NegativeError
		older   *kwp.NegativeError
		param   *obd.NegativeError
		broken  *garage.DamagedError
		card    *garage.CardError
		file    *garage.FileError
		busy    *garage.BusyError
		newer   *garage.NewerError
		rights  *adapter.RightsError
		choice  *ChoiceError
		stop    *StopSendingError
		altered *garage.AlteredError
		form    *ReportFormError
	)
	switch {
	case err == nil:
		return ""
	case errors.As(err, &rights):
		return strings.TrimSpace(fmt.Sprintf("This program has no right to use the adapter. Type this into a terminal: %s  %s", rights.Command, rights.Then))
	case errors.Is(err, adapter.ErrSilent):
		return "Nothing was heard on the car's bus. Many cars say nothing at the diagnostic socket until they are asked. Switch the ignition on, wait 20 seconds, and listen again."
	case errors.Is(err, adapter.ErrNoRate):
		return "Somebody talks on the car's bus, but at none of the usual bit rates can it be understood. Nothing was sent. The bus may be CAN FD, or a wire is bad: measure the resistance between pins 6 and 14."
	case errors.Is(err, adapter.ErrNoBitRate):
		return "This interface has no bit rate, because there is no wire behind it. Nothing has to be set."
	case errors.Is(err, adapter.ErrNotSilent):
		return "This adapter can't listen without taking part, so it can't find the bit rate by itself. Nearly all cars have 500 kbit/s at the socket."
	case errors.Is(err, adapter.ErrOtherKind):
		return "An adapter answers there, but of another kind. Choose the other place of this port: serial: instead of slcan:, or the other way round."
	case errors.Is(err, adapter.ErrRate):
		return "The adapter can't be set to this bit rate. Nearly all cars have 500000 bit/s at the socket, some 250000."
	case errors.As(err, &open) && !errors.Is(err, adapter.ErrUnknownPlace):
		return openSentence(open)
	case errors.Is(err, adapter.ErrUnknownPlace):
		return "This is not a place where an adapter can be. Examples: serial:/dev/ttyUSB0, tcp:192.168.0.10:35000, can:can0, practice:"
	case errors.As(err, &stop):
		return stop.sentence()
	case errors.As(err, &choice):
		return choice.sentence()
	case errors.Is(err, ErrNothingToWatch):
		return "Nothing was chosen to be watched."
	case errors.Is(err, ErrManyIdentifiers):
		return fmt.Sprintf("No more than %d values of your own can be added: single ones that somebody knows. A range is not tried.", maxIdentifiers)
	case errors.Is(err, ErrCalendar):
		return "Only the practice car has a calendar of its own. Leave the dates of a real car as they are."
	case errors.Is(err, link.ErrGone), errors.Is(err, bus.ErrGone):
		return "The adapter has gone: it was unplugged, or its connection was lost. Plug it in again and connect anew. Everything read so far is kept."
	case errors.Is(err, bus.ErrOff):
		return "The adapter does not take part in the car's bus: it has left it after too many errors, or it only listens. Nothing was sent. Unplug it, check the cable, and connect anew."
	case errors.Is(err, link.ErrClosed), errors.Is(err, bus.ErrClosed):
		return "The connection is closed. Connect again."
	case errors.Is(err, link.ErrNotExact):
		return "This adapter can't send the request exactly as shown. Nothing was sent."
	case errors.As(err, &broken):
		return fmt.Sprintf("The logbook file was damaged. It is kept as %s. Start again to begin a new one.", broken.KeptAs)
	case errors.As(err, &file):
		return fileSentence(file)
	case errors.As(err, &busy):
		return "Another program has the logbook open. Close it, then try again."
	case errors.Is(err, garage.ErrFull):
		return "The disk is full, so this was not kept. What was kept before is still there. Make room on the disk, then try again."
	case errors.Is(err, garage.ErrReadOnly):
		return "The logbook can't be written to: its file or its folder is write-protected, or belongs to another user. Allow this user to write there, or choose another place for the logbook."
	case errors.As(err, &newer):
		return "This logbook was written by a newer edition of the program. It is left as it is."
	case errors.As(err, &card):
		return cardSentence(card)
	case errors.As(err, &altered):
		return fmt.Sprintf("Visit %d is not as it was saved: its checksum differs. Do not rely on it. A back-up may have it as it was.", altered.Visit)
	case errors.Is(err, garage.ErrNotFound):
		return "This is not in the logbook, or no longer."
	case errors.As(err, &form):
		return fmt.Sprintf("A report is written as .html or .pdf, not as %s.", filepath.Base(form.Path))
	case errors.Is(err, ErrNobodyAnswered):
		return "No module answered. That does not mean that there are no codes. Switch the ignition on, wait 20 seconds, and read again."
	case errors.Is(err, context.Canceled):
		return "Stopped. What was read until then is kept."
	case errors.Is(err, context.DeadlineExceeded):
		return "It took too long, so it was given up. Try again."
	case errors.As(err, &torn):
		return tornSentence(torn)
	case link.Damaged(err):
		return "An answer arrived damaged. Read again; if it happens often, the adapter loses data."
	case errors.As(err, &alert):
		return fmt.Sprintf("The adapter says %q. Check the plug and the ignition, then connect again.", alert.Text)
	case errors.As(err, &refused):
		return fmt.Sprintf("The module refused: %s.", refused.Text())
	case errors.As(err, &older):
		return fmt.Sprintf("The module refused: %s.", older.Text())
	case errors.As(err, &param):
		return fmt.Sprintf("The module refused: %s.", uds.NRC(param.Code).Text())
	case errors.Is(err, uds.ErrNoneAsked), errors.Is(err, kwp.ErrNoneAsked):
		return "The request asks the module not to answer, and no answer came. Whether it was heard is not known."
	case errors.Is(err, uds.ErrNoAnswer), errors.Is(err, kwp.ErrNoAnswer), errors.Is(err, obd.ErrNoAnswer):
		return "The module did not answer. Silence is neither yes nor no."
	case errors.As(err, &silence):
		return "The adapter waited, and no answer came. Silence is neither yes nor no."
	case errors.Is(err, link.ErrTooLong):
		return "The message is too long for this adapter or address. Nothing was sent."
	case errors.Is(err, link.ErrNotSent):
		return "Nothing was sent."
	case damaged(err):
		return "A module answered in a form that is not understood. Its bytes are kept as they are."
	}
	if text := systemSentence(err); text != "" {
		return text
	}
	return "Something went wrong: " + err.Error()
}

// tornSentence says how much of an answer is there, and why it is not more.
func tornSentence(e *link.TornError) string {
	what := "An answer arrived only in part"
	if e.Want > 0 {
		what += fmt.Sprintf(": %d of %d bytes", e.Got, e.Want)
	}
	if errors.Is(e, isotp.ErrNoPair) {
		return what + ". On which identifier this module listens is not known yet, so nobody could tell it to go on."
	}
	return what + ". Read again; if it happens often, the adapter loses data."
}

func fileSentence(e *garage.FileError) string {
	switch e.Fault {
	case garage.FaultForeign:
		return "This is not a file that Readback has written. Nothing was changed."
	case garage.FaultNewer:
		return "This file was written by a newer edition of the program. Nothing was changed."
	case garage.FaultDamaged:
		return "This file is damaged, so none of it was taken. Nothing was changed. Try another copy of it."
	case garage.FaultTooLarge:
		return "This file is larger than any that Readback writes. Nothing was changed."
	}
	return "This file can't be taken. Nothing was changed."
}

func cardSentence(e *garage.CardError) string {
	if e.Line == 0 {
		return fmt.Sprintf("The cards can't be taken: %s. None of them was kept.", e.Cause)
	}
	return fmt.Sprintf("The cards can't be taken. Line %d: %s. None of them was kept.", e.Line, e.Cause)
}

// networked: the place is an address in a network, and nothing that is plugged into this computer.
func networked(p adapter.Place) bool {
	scheme, rest, err := p.Split()
	return err == nil && (scheme == "tcp" || strings.HasPrefix(rest, "tcp:"))
}

// plugged: the place is an adapter, and neither a recording nor the practice car.
func plugged(p adapter.Place) bool {
	return !strings.HasPrefix(string(p), "practice") && !strings.HasPrefix(string(p), "replay")
}

func openSentence(e *adapter.OpenError) string {
	var down *adapter.DownError
	if text := systemSentence(e); text != "" && !plugged(e.Place) {
		return text
	}
	switch e.Step {
	case adapter.StepPort:
		if errors.As(e, &down) {
			return fmt.Sprintf("The interface %s is down. Type this into a terminal: %s", down.Name, down.Command)
		}
		if networked(e.Place) {
			return fmt.Sprintf("%s can't be reached (%v). Is the adapter in the car's socket, is this computer in the adapter's own network, and is the address right?", e.Place, portCause(e.Cause))
		}
		return fmt.Sprintf("%s can't be opened (%v). Is it plugged in, and not used by another program?", e.Place, portCause(e.Cause))
	case adapter.StepAdapter:
		if !plugged(e.Place) {
			return fmt.Sprintf("%s can't be used. Are its name and its folder right?", e.Place)
		}
		if errors.Is(e, adapter.ErrUnfit) {
			return fmt.Sprintf("An adapter answers at %s, but it can't be used: it hangs, or can't show which module answered. Unplug it for 10 seconds and try once more; then use another adapter.", e.Place)
		}
		return fmt.Sprintf("%s opens, but nothing answers there like an adapter. Is the adapter in the car's socket, and does its lamp light?", e.Place)
	case adapter.StepBus:
		if errors.Is(e, adapter.ErrNoSupply) {
			return "The adapter answers, but it finds no car behind it: no bus, and no battery at pin 16. Push it fully into the car's socket, and switch the ignition on."
		}
		return "The adapter answers, but the car's bus does not. Switch the ignition on, wait 20 seconds, and try again."
	}
	return e.Error()
}
