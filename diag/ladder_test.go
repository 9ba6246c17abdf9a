package diag

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"slices"
	"strings"
	"testing"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/uds"
)

// The rows of the table with where each comes from: public threads and pages, the ELM327 data sheet, or from memory. The
// words are those that the first cause and the next step must have.
func TestTroubles(t *testing.T) {
	want := []struct {
		key         Symptom
		source      string
		first, next string
	}{
		{NotListed, "S40", "plugged in", "cable"},
		{DriverRefuses, "S40", "chip", "another adapter"},
		{PortVanishes, "S40", "braille", "15 seconds"},
		{NoRights, "S40", "group", "serial"},
		{PortTaken, "S40", "program", "close"},
		{PairedNoPort, "S43 memory", "low-energy", "USB"},
		{AdapterSilent, "memory", "speed", "lamp"},
		{NoLamp, "S44", "fuse", "16 and 4"},
		{NoSupply, "S44 memory", "socket", "into the car's socket"},
		{NoData, "S16 S45 S65", "ignition", "20 seconds"},
		{NoConnection, "S65", "ignition", "60 ohm"},
		{BusInitFails, "memory", "CAN", "CAN"},
		{BusErrors, "S41 S15 S17", "bit rate", "nothing more"},
		{NothingComes, "S41", "acknowledge", "Unplug"},
		{StaysOff, "S41", "by itself", "out and in"},
		{HalfAnswer, "S39 S36 S43", "buffer", "another adapter"},
		{CommandsRefused, "S43", "copy", "another adapter"},
		{AdapterAlert, "S65", "too early", "12 V"},
		{SomeSilent, "S36", "another network", "no answer"},
		{Locked, "memory", "gateway", "Stop"},
		{NotNow, "S30", "ready", "once more"},
		{BackAgain, "proof", "there now", "Don't erase again"},
		{MoreEntries, "S28 S21", "not tested", "off"},
		{StopsLater, "S18", "sleep", "12 V"},
		{FlatNextDay, "S42", "left in", "Pull the plug"},
		{ManyNetwork, "S21", "flat", "battery"},
		{Varies, "memory", "second", "other device"},
	}
	got := Troubles()
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for i, w := range want {
		r := got[i]
		if r.Key != w.key || strings.Join(r.Source, " ") != w.source {
			t.Errorf("row %d: %s from %s, want %s from %s", i, r.Key, r.Source, w.key, w.source)
		}
		for _, s := range r.Source {
			if troubleSources[s] == "" || !strings.Contains(r.RestsOn(), troubleSources[s]) {
				t.Errorf("%s: nobody knows source %s", r.Key, s)
			}
		}
		if len(r.Causes) == 0 || !strings.Contains(r.Causes[0], w.first) {
			t.Errorf("%s: first cause %q", r.Key, r.Causes)
		}
		if next := r.NextOn("plan9"); next == "" || !strings.Contains(strings.ToLower(next), strings.ToLower(w.next)) {
			t.Errorf("%s: next step %q", r.Key, next)
		}
		if r.Step != "" && !slices.Contains(adapter.Steps(), r.Step) {
			t.Errorf("%s: no step %q", r.Key, r.Step)
		}
		for _, s := range append(append([]string{r.Seen}, r.Causes...), r.Next[""]) {
			if !strings.HasSuffix(s, ".") {
				t.Errorf("%s: %q is no sentence", r.Key, s)
			}
		}
		if row, ok := TroubleFor(r.Key); !ok || row.Seen != r.Seen {
			t.Errorf("%s is not found by its key", r.Key)
		}
	}
	if _, ok := TroubleFor("nonesuch"); ok {
		t.Error("a row for a key that there isn't")
	}
}

// Exact commands, for each system where there is one.
func TestTroubleCommands(t *testing.T) {
	for _, c := range []struct {
		key           Symptom
		system, wants string
	}{
		{NoRights, "linux", `sudo usermod -a -G dialout "$USER"`},
		{PortVanishes, "linux", "sudo systemctl mask --now brltty-udev.service"},
		{PortTaken, "linux", "fuser -v /dev/ttyUSB*"},
		{PortTaken, "darwin", "lsof /dev/cu.*"},
		{PortTaken, "windows", "Outgoing"},
		{NotListed, "windows", "devmgmt.msc"},
		{NotListed, "darwin", "ls /dev/cu.*"},
		{DriverRefuses, "windows", "devmgmt.msc"},
		{PairedNoPort, "linux", "sudo rfcomm bind 0"},
		{StaysOff, "linux", "sudo ip link set can0 down && sudo ip link set can0 up"},
		{BusErrors, "linux", "ip -details -statistics link show type can"},
	} {
		r, _ := TroubleFor(c.key)
		if got := r.NextOn(c.system); !strings.Contains(got, c.wants) {
			t.Errorf("%s on %s: %s", c.key, c.system, got)
		}
	}
}

// The one next step of every row on each system, beside where the row comes from. Where the table of symptoms names
// something that a system has of its own, the step of that system has it: the list of devices, the group that may use
// ports, the outgoing one of two radio ports, the service for braille displays, counters of a CAN interface.
func TestTroublesOnEachSystem(t *testing.T) {
	seen := map[Symptom]bool{}
	for _, c := range []struct {
		key                    Symptom
		source                 string
		linux, darwin, windows string
	}{
		{NotListed, "S40", "sudo dmesg", "ls /dev/cu.*", "devmgmt.msc"},
		{DriverRefuses, "S40", "Use another adapter", "Use another adapter", "Leave the check of signatures on"},
		{PortVanishes, "S40", "brltty-udev.service", "Wait 15 seconds", "Wait 15 seconds"},
		{NoRights, "S40", "dialout", "Log in as a user", "Log in as a user"},
		{PortTaken, "S40", "fuser -v", "lsof /dev/cu.*", "Outgoing"},
		{PairedNoPort, "S43 memory", "rfcomm bind", "USB cable", "USB cable"},
		{AdapterSilent, "memory", "lamp lights", "lamp lights", "lamp lights"},
		{NoLamp, "S44", "16 and 4", "16 and 4", "16 and 4"},
		{NoSupply, "S44 memory", "fully into", "fully into", "fully into"},
		{NoData, "S16 S45 S65", "wait 20 seconds", "wait 20 seconds", "wait 20 seconds"},
		{NoConnection, "S65", "60 ohm", "60 ohm", "60 ohm"},
		{BusInitFails, "memory", "CAN is tried before", "CAN is tried before", "CAN is tried before"},
		{BusErrors, "S41 S15 S17", "Send nothing more. See the interface's state", "Send nothing more. Unplug", "Send nothing more. Unplug"},
		{NothingComes, "S41", "error counters", "Unplug the adapter", "Unplug the adapter"},
		{StaysOff, "S41", "ip link set can0 down", "out and in again", "out and in again"},
		{HalfAnswer, "S39 S36 S43", "once", "once", "once"},
		{CommandsRefused, "S43", "another adapter", "another adapter", "another adapter"},
		{AdapterAlert, "S65", "12 V supply", "12 V supply", "12 V supply"},
		{SomeSilent, "S36", "ready to drive", "ready to drive", "ready to drive"},
		{Locked, "memory", "its maker or a workshop", "its maker or a workshop", "its maker or a workshop"},
		{NotNow, "S30", "try once more", "try once more", "try once more"},
		{BackAgain, "proof", "Don't erase again", "Don't erase again", "Don't erase again"},
		{MoreEntries, "S28 S21", "read again", "read again", "read again"},
		{StopsLater, "S18", "12 V supply", "12 V supply", "12 V supply"},
		{FlatNextDay, "S42", "Pull the plug", "Pull the plug", "Pull the plug"},
		{ManyNetwork, "S21", "Charge and test", "Charge and test", "Charge and test"},
		{Varies, "memory", "every other device", "every other device", "every other device"},
	} {
		seen[c.key] = true
		r, ok := TroubleFor(c.key)
		if !ok || strings.Join(r.Source, " ") != c.source {
			t.Errorf("%s: %v, from %v", c.key, ok, r.Source)
		}
		for system, want := range map[string]string{"linux": c.linux, "darwin": c.darwin, "windows": c.windows} {
			if got := r.NextOn(system); !strings.Contains(got, want) {
				t.Errorf("%s on %s: %s", c.key, system, got)
			}
		}
		for system := range r.Next {
			if !slices.Contains([]string{"", "linux", "darwin", "windows"}, system) {
				t.Errorf("%s: nobody has the system %q", c.key, system)
			}
		}
	}
	if len(seen) != len(Troubles()) {
		t.Errorf("%d of %d rows", len(seen), len(Troubles()))
	}
}

// What the adapters and the clients say, and the row that it belongs to. The texts are those of the ELM327 data sheet, as
// this project's drivers pass them on.
func TestSymptomOfErrors(t *testing.T) {
	says := func(text string) error {
		return fmt.Errorf("asking: %w", &link.AdapterError{Op: "asking", Text: text})
	}
	opening := func(step adapter.Step, cause error) error {
		return &adapter.OpenError{Place: "serial:COM3", Step: step, Cause: cause}
	}
	plain := errors.New("something")
	for _, c := range []struct {
		err    error
		system string
		want   Symptom
	}{
		{opening(adapter.StepPort, fmt.Errorf("x: %w", fs.ErrNotExist)), "linux", NotListed},
		{opening(adapter.StepPort, plain), "linux", NotListed},
		{&adapter.OpenError{Place: "tcp:192.168.0.10:35000", Step: adapter.StepPort, Cause: plain}, "linux", ""},
		{opening(adapter.StepBus, fmt.Errorf("%w: %w", adapter.ErrNoSupply, says("NO DATA"))), "linux", NoSupply},
		{opening(adapter.StepPort, fs.ErrPermission), "linux", NoRights},
		{opening(adapter.StepPort, fs.ErrPermission), "darwin", NoRights},
		{opening(adapter.StepPort, fs.ErrPermission), "windows", PortTaken},
		{opening(adapter.StepPort, adapter.ErrTaken), "linux", PortTaken},
		{opening(adapter.StepPort, &adapter.RightsError{Command: "x", Cause: fs.ErrPermission}), "linux", NoRights},
		{opening(adapter.StepAdapter, plain), "linux", AdapterSilent},
		{opening(adapter.StepAdapter, fmt.Errorf("%w: no headers", adapter.ErrUnfit)), "linux", CommandsRefused},
		{opening(adapter.StepBus, plain), "linux", NoConnection},
		{opening(adapter.StepBus, says("UNABLE TO CONNECT")), "linux", NoConnection},
		{opening(adapter.StepBus, says("no answer")), "linux", NoConnection},
		{opening(adapter.StepBus, says("no end after 1m40s")), "linux", NoConnection},
		{opening(adapter.StepBus, says("CAN ERROR")), "linux", BusErrors},
		{opening(adapter.StepBus, says("BUS INIT: ERROR")), "linux", BusInitFails},
		{says("BUS INIT: ...ERROR"), "linux", BusInitFails},
		{says("BUS BUSY"), "linux", BusErrors},
		{says("BUS ERROR"), "linux", BusErrors},
		{says("FB ERROR"), "linux", BusErrors},
		{says("STOPPED"), "linux", AdapterAlert},
		{says("BUFFER FULL"), "linux", AdapterAlert},
		{says("7E8 03 41 <RX ERROR"), "linux", AdapterAlert},
		{says("48 6B 10 <DATA ERROR"), "linux", AdapterAlert},
		{says("DATA ERROR"), "linux", AdapterAlert},
		{says("!ACT ALERT"), "linux", AdapterAlert},
		{says("LP ALERT"), "linux", AdapterAlert},
		{says("LV RESET"), "linux", AdapterAlert},
		{says("ERR94"), "linux", AdapterAlert},
		{says("ERR71"), "linux", AdapterAlert},
		{says("ELM327 v1.5"), "linux", AdapterAlert},
		{says("?"), "linux", CommandsRefused},
		{says("refused"), "linux", CommandsRefused},
		{says("no 29-bit identifiers"), "linux", CommandsRefused},
		{says("no prompt"), "linux", AdapterSilent},
		{says("7EC101462F1903054E"), "linux", HalfAnswer},
		{&link.AdapterError{Op: "receiving", Text: "7EC 1X1", Damaged: true}, "linux", HalfAnswer},
		{says("NO DATA"), "linux", NoData},
		{&link.SilenceError{Text: "NO DATA"}, "linux", NoData},
		{&link.SilenceError{Text: "BUS INIT: ERROR"}, "linux", BusInitFails},
		{&link.TornError{Got: 6, Want: 20, Cause: plain}, "linux", HalfAnswer},
		{uds.ErrNoAnswer, "linux", NoData},
		{ErrNobodyAnswered, "linux", NoData},
		{link.ErrNotExact, "linux", CommandsRefused},
		{link.ErrGone, "linux", StopsLater},
		{bus.ErrGone, "linux", StopsLater},
		{bus.ErrOff, "linux", BusErrors},
		{&uds.NegativeError{Service: 0x14, Code: 0x33}, "linux", Locked},
		{&uds.NegativeError{Service: 0x14, Code: 0x34}, "linux", Locked},
		{&uds.NegativeError{Service: 0x14, Code: 0x22}, "linux", NotNow},
		{&uds.NegativeError{Service: 0x14, Code: 0x31}, "linux", ""},
		{opening(adapter.StepBus, context.Canceled), "linux", ""},
		{fmt.Errorf("x: %w", adapter.ErrUnknownPlace), "linux", ""},
		{plain, "linux", ""},
		{nil, "linux", ""},
	} {
		if got := symptomOf(c.err, c.system); got != c.want {
			t.Errorf("%v on %s: %q, want %q", c.err, c.system, got, c.want)
		}
	}
}

// A missing right comes with the command for that very port.
func TestTroubleOfRights(t *testing.T) {
	got, ok := TroubleOf(&adapter.RightsError{Command: "sudo usermod -a -G uucp \"$USER\"", Cause: fs.ErrPermission})
	if !ok || got.Key != NoRights {
		t.Fatalf("%v, %v", got.Key, ok)
	}
	found := false
	for _, s := range got.Next {
		found = found || strings.Contains(s, "-G uucp")
	}
	if !found {
		t.Errorf("%v", got.Next)
	}
	then, _ := TroubleOf(&adapter.RightsError{Command: "sudo x", Then: "Then log out and in again.", Cause: fs.ErrPermission})
	up, _ := TroubleOf(&adapter.RightsError{Command: "sudo ip link set can0 up", Cause: fs.ErrPermission})
	if s := then.NextOn(runtime.GOOS); !strings.HasSuffix(s, "sudo x  Then log out and in again.") {
		t.Error(s)
	}
	if s := up.NextOn(runtime.GOOS); !strings.HasSuffix(s, "sudo ip link set can0 up") { // counts at once
		t.Error(s)
	}
	if again, _ := TroubleFor(NoRights); strings.Contains(fmt.Sprint(again.Next), "uucp") {
		t.Error("the table itself was changed")
	}
	if _, ok := TroubleOf(errors.New("something")); ok {
		t.Error("a row for an error that says nothing")
	}
}
