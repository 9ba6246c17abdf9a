package app

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/link"
)

// failed is a window on which opening an adapter has failed.
func failed(t *testing.T, system string, err error) *bench {
	t.Helper()
	b := newBench(t, setup{openErr: err})
	b.w.opt.System = system
	b.w.connect("serial:/dev/ttyUSB0")
	b.until("failed", func() bool { return b.w.link.openErr != nil })
	return b
}

// endsAt is the error of opening that ends at a step.
func endsAt(step adapter.Step, cause error) error {
	return &adapter.OpenError{Place: "serial:/dev/ttyUSB0", Step: step, Cause: cause}
}

// TestFailedRungs: each rung that fails while an adapter is opened says what was seen, what is likely behind it, and one
// next step, for each system. The words are those of the table of troubles, whose rows name their sources.
func TestFailedRungs(t *testing.T) {
	for _, c := range []struct {
		system string
		err    error
		says   []string
		copies string // "" where there is nothing to be typed
		asked  bool   // the adapter has asked the car
	}{
		{"linux", endsAt(adapter.StepPort, fs.ErrNotExist), []string{"The adapter is not in the list.", "1. It is not plugged in.", "Next: Plug the adapter out and in again with another cable, then see what appeared:"}, "sudo dmesg | tail -n 20", false},
		{"darwin", endsAt(adapter.StepPort, fs.ErrNotExist), []string{"The adapter is not in the list."}, "ls /dev/cu.*", false},
		{"windows", endsAt(adapter.StepPort, fs.ErrNotExist), []string{"see what appears under Ports:"}, "devmgmt.msc", false},
		{"linux", endsAt(adapter.StepPort, &adapter.RightsError{Command: `sudo usermod -a -G dialout "$USER"`, Then: "Then log out and in again.", Cause: fs.ErrPermission}),
			[]string{"permission denied", "1. You are not in the group that may use serial ports.", "Then log out and in again."}, `sudo usermod -a -G dialout "$USER"`, false},
		{"linux", endsAt(adapter.StepPort, adapter.ErrTaken), []string{"the port is in use", "close that program:"}, "fuser -v /dev/ttyUSB* /dev/ttyACM* /dev/rfcomm*", false},
		{"linux", endsAt(adapter.StepAdapter, errors.New("silence")), []string{"The port opens, but the adapter does not answer.", "1. Its line has an unusual speed.", "Next: Look whether the adapter's lamp lights"}, "", false},
		{"windows", endsAt(adapter.StepBus, &link.AdapterError{Text: "UNABLE TO CONNECT"}), []string{"it found no bus", "1. The ignition is off.", "Next: Switch the ignition on, wait 20 seconds, and connect again."}, "", true},
		{"linux", endsAt(adapter.StepBus, fmt.Errorf("%w: %w", adapter.ErrNoSupply, &link.AdapterError{Text: "UNABLE TO CONNECT"})), []string{"no battery at pin 16", "1. It is not in the car's socket", "Next: Push the adapter fully into the car's socket"}, "", true},
	} {
		b := failed(t, c.system, c.err)
		b.says(append(c.says, "could not be used", "this one failed")...)
		if row, ok := diag.TroubleOf(c.err); !ok || row.RestsOn() == "" || !strings.Contains(b.margin(), row.RestsOn()) {
			t.Errorf("%v: the margin does not say what this rests on: %s", c.err, b.margin())
		}
		if n := strings.Count(b.page(), "Next:"); n != 1 {
			t.Errorf("%v: %d next steps", c.err, n)
		}
		if c.copies != "" {
			b.tap("copy " + c.copies)
			if got := b.w.app.Clipboard().Content(); got != c.copies {
				t.Errorf("%v: %q was copied", c.err, got)
			}
			b.says("Copied")
		}
		if got := strings.Contains(b.page(), "Nothing was sent."); got == c.asked {
			t.Errorf("%v: it says that nothing was sent: %v", c.err, got)
		}
	}
}

// TestLateFailure: an adapter that fails after the car was asked is not said to have sent nothing.
func TestLateFailure(t *testing.T) {
	b := newBench(t, setup{openErr: endsAt(adapter.StepAdapter, errNothing), rungs: []adapter.Rung{{Step: adapter.StepBus, State: adapter.RungHeld, Seen: "The car's bus is 11-bit, 500 kbit/s."}}})
	b.w.connect("serial:/dev/ttyUSB0")
	b.until("failed", func() bool { return b.w.link.openErr != nil })
	b.says("Nothing but the adapter's own question")
	b.saysNot("Nothing was sent.")
}

// TestFailedRung: the steps before the one that failed are said to hold.
func TestFailedRung(t *testing.T) {
	b := newBench(t, setup{openErr: &adapter.OpenError{Place: "tcp:192.168.0.10:35000", Step: adapter.StepBus, Cause: errNothing}})
	if strings.Contains(b.margin(), "rests on") {
		t.Error("sources of a trouble where there is none")
	}
	b.w.link.address.SetText("192.168.0.10:35000")
	b.w.connectAddress()
	b.until("failed", func() bool { return b.w.link.openErr != nil })
	b.says("tcp:192.168.0.10:35000 could not be used", "this one failed", "Nothing but the adapter's own question")
	if b.w.link.visit != nil {
		t.Error("there is a visit")
	}
	if n := strings.Count(b.page(), "yes"); n != 2 {
		t.Errorf("%d rungs are said to hold, want the two before the car's line", n)
	}
}

// TestCommandsInNextSteps: of every next step of the table, on every system, a command is taken apart whole or not at all.
func TestCommandsInNextSteps(t *testing.T) {
	commands := map[string]bool{}
	for _, trouble := range diag.Troubles() {
		for _, system := range []string{"linux", "darwin", "windows", "freebsd"} {
			next := trouble.NextOn(system)
			text, command := commandIn(next)
			if command == "" {
				if text != next {
					t.Errorf("%q was cut to %q", next, text)
				}
				continue
			}
			if text+" "+command != next {
				t.Errorf("%q was cut to %q and %q", next, text, command)
			}
			if first := command[0]; first < 'a' || first > 'z' {
				t.Errorf("%q is no command", command)
			}
			commands[command] = true
		}
	}
	for _, want := range []string{"sudo dmesg | tail -n 20", "devmgmt.msc", "ls /dev/cu.*", "lsof /dev/cu.*", "control bthprops.cpl,,1"} {
		if !commands[want] {
			t.Errorf("the command %q was not found", want)
		}
	}
}

// lastSteps are told by a link test.
func lastSteps(module, long adapter.RungState, seen string) []adapter.Rung {
	return []adapter.Rung{{Step: adapter.StepModule, State: adapter.RungTrying}, {Step: adapter.StepModule, State: module, Seen: seen}, {Step: adapter.StepLong, State: long, Seen: seen}}
}

// TestLastSteps: once a link stands its last two steps are taken, and what came of them is said.
func TestLastSteps(t *testing.T) {
	torn := &link.TornError{Cause: errors.New("a frame is missing")}
	for _, c := range []struct {
		name          string
		rungs         []adapter.Rung
		err           error
		says, saysNot []string
	}{
		{"whole", lastSteps(adapter.RungHeld, adapter.RungHeld, "It was seen."), nil, []string{"A module answers It was seen. yes", "A long answer arrives whole It was seen. yes"}, []string{"Likely", "Next:"}},
		{"torn", lastSteps(adapter.RungHeld, adapter.RungFailed, "It was seen."), torn, []string{"A step of the link test failed", "An answer arrives only in part.", "1. The adapter has a small buffer", "Next: Read again, once."}, nil},
		{"silent", lastSteps(adapter.RungUnknown, adapter.RungUnknown, "Nobody."), nil, []string{"No module has answered so far", "1. The ignition is off, or the car is asleep.", "Next: Switch the ignition on, wait 20 seconds, and read again."}, []string{"failed"}},
		{"stopped", []adapter.Rung{{Step: adapter.StepBus, State: adapter.RungFailed, Seen: "Only broken frames come."}}, errors.New("held"), []string{"Only broken frames come. this one failed", "A module answers not tried"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := vanVisit()
			v.rungs, v.testErr = c.rungs, c.err
			b := newBench(t, setup{visit: v, rungs: climbed()[:4]})
			b.connect()
			b.until("tested", func() bool { return !b.w.link.testing })
			b.says(c.says...)
			b.saysNot(c.saysNot...)
			b.tap("test-link")
			b.until("tested again", func() bool { return !b.w.link.testing })
			if v.tests != 2 {
				t.Errorf("tested %d times", v.tests)
			}
		})
	}
}

// TestStandingRungs: a driver that tells no steps leaves none open that the link itself shows.
func TestStandingRungs(t *testing.T) {
	v := vanVisit()
	v.health = diag.Health{Verdict: diag.HealthQuiet, Text: "Nobody says anything on the bus."}
	b := newBench(t, setup{visit: v})
	b.connect()
	b.until("judged", func() bool { return b.w.link.health != nil })
	b.says("The port opens yes", "The adapter answers yes", "12 V supply The adapter measures 12.7\u00a0V at the socket. yes", "The car's line is alive Nobody says anything on the bus. not seen", "How the car's bus does")
}

// TestAdapterGone: an adapter that is pulled is noticed while nobody asks anything. What was read stays, nothing more is
// asked, and it can be connected anew.
func TestAdapterGone(t *testing.T) {
	v := vanVisit()
	v.pulled = make(chan error, 1)
	b := newBench(t, setup{visit: v})
	b.read()
	v.pulled <- fmt.Errorf("reading: %w", link.ErrGone)
	b.until("noticed", func() bool { return b.w.link.gone != nil })
	b.w.refreshSupply(t.Context(), v)() // as at the end of a reading that was under way
	b.w.draw()
	b.says("The adapter has gone", "Plug it in again and connect anew.", "1. The car goes to sleep.", "Seven codes in three modules")
	if b.has("look") {
		t.Error("the car can be read")
	}
	b.w.startLooking()
	if b.w.code.looking != nil {
		t.Error("it reads")
	}
	if strip := reads(b.w.strip); !strings.Contains(strip, "gone") || strings.Contains(strip, "12.7") {
		t.Errorf("the strip says %q", strip)
	}
	b.write("7E0 03 22 F1 90 55 55 55 55")
	b.says("The adapter has gone")
	if b.has("send-look") {
		t.Error("a request can be sent")
	}
	b.w.Show(PageLink)
	b.says("Lost: Practice car", "USB serial adapter")
	if sub, _ := b.w.standing(PageLink); sub != "the adapter has gone" {
		t.Errorf("the rail says %q", sub)
	}
	b.tap("connect-anew")
	b.until("connected", func() bool { return b.w.link.opening == nil && b.w.link.visit != nil })
	b.saysNot("The adapter has gone")
}

// TestSendingIsStopped: while the bus must be left alone nothing can be asked from any page, and each says why. Once the
// bus does well again all is as before.
func TestSendingIsStopped(t *testing.T) {
	v := vanVisit()
	b := newBench(t, setup{visit: v})
	b.read()
	v.health = diag.JudgeBus(diag.BusFacts{Broken: 9, BitRate: 500000})
	b.w.askHealth()
	b.until("judged", func() bool { return b.w.stopped() != nil })
	why := []string{"Stop sending", "Only broken frames come at 500 kbit/s.", "1. The bit rate is not the car's.", "Next: Send nothing more.", "held back"}
	b.says(why...)
	if b.has("look") {
		t.Error("the car can be read")
	}
	b.write("7E0 03 22 F1 90 55 55 55 55")
	b.says(why...)
	if b.has("send-look") {
		t.Error("a request can be sent")
	}
	b.w.sendLook()
	b.write(clearText)
	b.w.Show(PageGate)
	b.says(append(why, "The gate stays closed for now")...)
	b.lineUp()
	b.w.sendChange()
	if b.w.busy() || len(v.sent) > 0 {
		t.Errorf("sent %v", v.sent)
	}
	b.w.Show(PageLink)
	b.says(why...)
	unlock := v.lock()
	v.health = diag.JudgeBus(diag.BusFacts{Heard: 9, BitRate: 500000})
	unlock()
	b.w.askHealth()
	b.until("judged anew", func() bool { return b.w.stopped() == nil })
	b.saysNot("Stop sending")
	b.says("9 frames came without errors.") // a step of the link test, and not once more below it
	b.saysNot("How the car's bus does")
	b.w.Show(PageCodes)
	if !b.has("look") {
		t.Error("the car can't be read any more")
	}
}

// TestReadOnlyIsSaidUpFront: with an adapter that can't send a change the pages before the gate say so, and the gate has
// no key.
func TestReadOnlyIsSaidUpFront(t *testing.T) {
	v := vanVisit()
	v.abilities.ReadOnly = "It loses bytes, so an answer to a change might not be seen."
	b := newBench(t, setup{visit: v})
	b.read()
	b.w.Show(PageLink)
	b.says("This adapter can't send a change", "It loses bytes, so an answer", "What to get: an adapter that carries single CAN frames")
	b.w.Show(PageGate)
	b.says("The gate stays closed with this adapter", "It loses bytes, so an answer")
	b.w.Show(PageRequest)
	b.says("This adapter can't send a change. It loses bytes")
	b.write(clearText)
	b.says("This adapter can't send a change", "What to get:")
	if b.has("to-gate") {
		t.Error("the request leads to the gate")
	}
	b.w.Show(PageGate)
	b.says("The gate stays closed with this adapter", "It loses bytes, so an answer", "What to get:")
	if b.has("hold") || v.measured > 0 {
		t.Errorf("there is a key, or the car was measured %d times", v.measured)
	}
	b.lineUp()
	b.w.sendChange()
	if len(v.sent) > 0 {
		t.Errorf("sent %v", v.sent)
	}
	b.write("7E0 03 22 F1 90 55 55 55 55")
	if !b.has("send-look") {
		t.Error("a look can't be sent")
	}
}
