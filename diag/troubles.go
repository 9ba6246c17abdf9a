package diag

import (
	"strings"

	"readback/diag/adapter"
)

// Symptom is the key of one row of the table of troubles.
type Symptom string

const (
	NotListed       Symptom = "not-listed"
	DriverRefuses   Symptom = "driver-refuses"
	PortVanishes    Symptom = "port-vanishes"
	NoRights        Symptom = "no-rights"
	PortTaken       Symptom = "port-taken"
	PairedNoPort    Symptom = "paired-no-port"
	AdapterSilent   Symptom = "adapter-silent"
	NoLamp          Symptom = "no-lamp"
	NoSupply        Symptom = "no-supply"
	NoData          Symptom = "no-data"
	NoConnection    Symptom = "no-connection"
	BusInitFails    Symptom = "bus-init-fails"
	BusErrors       Symptom = "bus-errors"
	NothingComes    Symptom = "nothing-comes"
	StaysOff        Symptom = "stays-off"
	HalfAnswer      Symptom = "half-answer"
	CommandsRefused Symptom = "commands-refused"
	AdapterAlert    Symptom = "adapter-alert"
	SomeSilent      Symptom = "some-silent"
	Locked          Symptom = "locked"
	NotNow          Symptom = "not-now"
	BackAgain       Symptom = "back-again"
	MoreEntries     Symptom = "more-entries"
	StopsLater      Symptom = "stops-later"
	FlatNextDay     Symptom = "flat-next-day"
	ManyNetwork     Symptom = "many-network-codes"
	Varies          Symptom = "varies"
)

// Trouble is a symptom with what is likely behind it and the one thing to do next.
type Trouble struct {
	Key    Symptom
	Step   adapter.Step // the step of the link test at which it shows; "" where it shows later
	Seen   string       // what is seen, a sentence
	Causes []string     // the likeliest first
	// Next is the one next step for each system, named as runtime.GOOS does; "" stands for all that are not named.
	Next   map[string]string
	Source []string // keys; see [Trouble.RestsOn]
}

// NextOn is the one next step on a system, named as runtime.GOOS does.
func (t Trouble) NextOn(system string) string {
	if s, ok := t.Next[system]; ok {
		return s
	}
	return t.Next[""]
}

// RestsOn are the sources of what is said of a trouble, in words.
func (t Trouble) RestsOn() string {
	var out []string
	for _, key := range t.Source {
		out = append(out, troubleSources[key])
	}
	return strings.Join(out, "; ")
}

// troubleSources says what the keys of sources stand for.
var troubleSources = map[string]string{
	"S15":    "public extract of ISO 15765-4:2005: a tester at the wrong bit rate must notice it and stop at once",
	"S16":    "public question and answer 82557 of a mechanics' site: nothing is heard behind a gateway; ask first",
	"S17":    "a public course on CAN: a classic controller answers an FD frame with an error frame",
	"S18":    "makers' public service texts: modules sleep after 15 to 40 s, some after up to an hour",
	"S21":    "makers' public diagnostic aids: lost-communication codes after a flat battery are normal",
	"S28":    "public question and answer 70563671: 19 02 FF also returns codes that are not tested yet",
	"S30":    "negative response codes of ISO 14229-1 as published by free libraries",
	"S36":    "public thread of a battery car's display: flow control must go to the module's own request identifier",
	"S39":    "public issue threads of free transport libraries: lost consecutive frames, flow control too late",
	"S40":    "public issue threads of serial port libraries and of drivers of USB bridge chips; pages on the group dialout",
	"S41":    "public issue threads of free CAN libraries and tools: error passive, no end resistor, no recovery",
	"S42":    "public help page on plug-in devices: current while asleep, cars that stay awake",
	"S43":    "public issue threads on copied adapters: versions that never existed, commands answered with ?",
	"S44":    "public do-it-yourself pages: a dead socket shares its fuse with the lighter",
	"S45":    "13 CCR 1962.5: no standard diagnostics for battery cars before model year 2026",
	"S65":    "ELM327 data sheet, error messages",
	"proof":  "status bits of ISO 14229-1 annex D.2; the order of the readings is common practice",
	"memory": "from memory",
}

// Troubles are all rows, in the order of a link test and then of a visit.
func Troubles() []Trouble {
	return append(portTroubles(), append(busTroubles(), visitTroubles()...)...)
}

func onAll(step string) map[string]string { return map[string]string{"": step} }

func portTroubles() []Trouble {
	return []Trouble{
		{NotListed, adapter.StepPort, "The adapter is not in the list.",
			[]string{"It is not plugged in.", "The USB cable only charges.", "Its driver is missing.", "A radio adapter is not paired.", "A service of the computer has taken the device."},
			map[string]string{
				"":        "Plug the adapter out and in again with another cable and another USB port, and watch for a new entry in the list.",
				"linux":   "Plug the adapter out and in again with another cable, then see what appeared: sudo dmesg | tail -n 20",
				"darwin":  "Plug the adapter out and in again with another cable, then see what appeared: ls /dev/cu.*",
				"windows": "Plug the adapter out and in again with another cable, and see what appears under Ports: devmgmt.msc",
			}, []string{"S40"}},
		{DriverRefuses, adapter.StepPort, "Windows shows a yellow mark, or Code 10, at the adapter.",
			[]string{"Its USB chip is a copy or an old one, and the newest driver shuts it out.", "The driver is not signed."},
			map[string]string{
				"windows": "Use another adapter, or choose the chip maker's older driver: devmgmt.msc, then Properties, Driver, Roll Back Driver. Leave the check of signatures on.",
				"":        "Use another adapter.",
			}, []string{"S40"}},
		{PortVanishes, adapter.StepPort, "The port appears and vanishes again.",
			[]string{"A service for braille displays takes adapters with common USB chips.", "A modem service tries the port for about 10 s."},
			map[string]string{
				"linux":   "Wait 15 seconds and look again. If the port is gone, and nobody uses a braille display at this computer: sudo systemctl mask --now brltty-udev.service",
				"":        "Wait 15 seconds and look again.",
				"windows": "Wait 15 seconds and look again: devmgmt.msc",
			}, []string{"S40"}},
		{NoRights, adapter.StepPort, "The system says: permission denied.",
			[]string{"You are not in the group that may use serial ports.", "You were added to it and have not logged in anew.", "The program runs in a sandbox without access to ports."},
			map[string]string{
				"linux": `Type this, then log out and in again: sudo usermod -a -G dialout "$USER"`,
				"":      "Log in as a user who may use serial ports.",
			}, []string{"S40"}},
		{PortTaken, adapter.StepPort, "The system says that the port is in use, or denies access to it.",
			[]string{"Another program has it, or this one runs twice.", "A program that crashed still holds it.", "It is the incoming one of a radio adapter's two ports."},
			map[string]string{
				"":        "Close the other program, plug the adapter out and in again, and connect once more.",
				"linux":   "See who has the port, and close that program: fuser -v /dev/ttyUSB* /dev/ttyACM* /dev/rfcomm*",
				"darwin":  "See who has the port, and close that program: lsof /dev/cu.*",
				"windows": "Close the other program. With a radio adapter choose the port marked Outgoing: control bthprops.cpl,,1",
			}, []string{"S40"}},
		{PairedNoPort, adapter.StepPort, "The radio adapter is paired, but there is no port.",
			[]string{"It is of the low-energy kind, which has no serial port.", "It was paired with a wrong number; usual ones are 1234, 0000 and 6789."},
			map[string]string{
				"":      "Use an adapter with a USB cable, or one with classic Bluetooth.",
				"linux": "If it is of the classic kind, make its port with its own address: sudo rfcomm bind 0 AA:BB:CC:DD:EE:FF",
			}, []string{"S43", "memory"}},
		{AdapterSilent, adapter.StepAdapter, "The port opens, but the adapter does not answer.",
			[]string{"Its line has an unusual speed.", "It has no power from the car's socket.", "Echo or line ends are not as expected.", "It is not this kind of adapter."},
			onAll("Look whether the adapter's lamp lights in the car's socket. If it does, plug it out, wait 10 seconds, plug it in and connect again."), []string{"memory"}},
		{NoLamp, adapter.StepAdapter, "The adapter's lamp does not light in the car's socket.",
			[]string{"The fuse of the socket has blown; it is often the lighter's.", "A pin is bent.", "Pin 4 or 5, ground, is loose.", "The 12 V battery is flat."},
			onAll("Measure with a meter between pins 16 and 4, then between 16 and 5: both should show the battery's voltage. If not, look for the fuse in the car's fuse list."), []string{"S44"}},
		{NoSupply, adapter.StepBus, "The adapter finds no bus of a car, and no battery at pin 16.",
			[]string{"It is not in the car's socket, or not pushed home.", "The fuse of the socket has blown; it is often the lighter's.", "A pin is bent.", "The 12 V battery is flat or disconnected."},
			onAll("Push the adapter fully into the car's socket, switch the ignition on, and connect again."), []string{"S44", "memory"}},
	}
}

func busTroubles() []Trouble {
	return []Trouble{
		{NoData, adapter.StepModule, "The adapter says NO DATA: nothing came.",
			[]string{"The ignition is off, or the car is asleep.", "The module does not know this request.", "A filter or an identifier does not fit.", "A gateway keeps the request back.", "A battery car that does not answer requests to all modules."},
			onAll("Switch the ignition on, wait 20 seconds, and read again."), []string{"S16", "S45", "S65"}},
		{NoConnection, adapter.StepBus, "The adapter says UNABLE TO CONNECT: it found no bus.",
			[]string{"The ignition is off.", "The car has no CAN at pins 6 and 14.", "The protocol is another one.", "The cable is bad."},
			onAll("Switch the ignition on, wait 20 seconds, and connect again. If it says the same, measure the resistance between pins 6 and 14 with everything off: it should be about 60 ohm."), []string{"S65"}},
		{BusInitFails, adapter.StepBus, "The adapter says BUS INIT ERROR: an older line did not start.",
			[]string{"The adapter tried an older line, and the car has CAN.", "The ignition is off."},
			onAll("Switch the ignition on and connect again; CAN is tried before the older lines."), []string{"memory"}},
		{BusErrors, adapter.StepBus, "The adapter meets errors on the bus, or has left it.",
			[]string{"The bit rate is wrong.", "The two wires are swapped, or one is open.", "An end resistor is missing, or the adapter has one too many.", "Nobody acknowledges: the car is asleep, or the adapter is alone.", "The car's bus has FD frames, which this adapter does not know."},
			map[string]string{
				"":      "Send nothing more. Unplug the adapter, check the plug, switch the ignition on, and connect again once.",
				"linux": "Send nothing more. See the interface's state and counters: ip -details -statistics link show type can",
			}, []string{"S41", "S15", "S17"}},
		{NothingComes, adapter.StepModule, "Sending succeeds, and nothing ever comes.",
			[]string{"Adapters of frames on a serial line may report success without an acknowledge.", "Some repeat the frame for ever."},
			map[string]string{
				"":      "Unplug the adapter, so that it stops sending; switch the ignition on, and connect again.",
				"linux": "See whether the error counters grow, and unplug the adapter if they do: ip -details -statistics link show type can",
			}, []string{"S41"}},
		{StaysOff, adapter.StepBus, "The bus was lost, and stays lost after the cause was mended.",
			[]string{"The adapter does not come back by itself."},
			map[string]string{
				"":      "Plug the adapter out and in again, and connect anew.",
				"linux": "Close and open the interface: sudo ip link set can0 down && sudo ip link set can0 up",
			}, []string{"S41"}},
		{HalfAnswer, adapter.StepLong, "An answer arrives only in part.",
			[]string{"The adapter has a small buffer, or no long answers.", "Flow control was not sent, or to the wrong identifier.", "The computer was too slow."},
			onAll("Read again, once. If it is the same, use another adapter."), []string{"S39", "S36", "S43"}},
		{CommandsRefused, adapter.StepAdapter, "The adapter refuses or does not survive commands that it should know.",
			[]string{"It is a copy; its version is not what it says.", "The command came damaged, because the line loses bytes."},
			onAll("Look at what this adapter can do. For what is missing, use another adapter."), []string{"S43"}},
		{AdapterAlert, "", "The adapter broke off: STOPPED, BUFFER FULL, RX ERROR, ACT ALERT, LV RESET or ERR94.",
			[]string{"STOPPED: something was sent to it too early.", "BUFFER FULL: more came than its line carries.", "RX ERROR: a damaged frame, often a wrong bit rate.", "ACT ALERT: it goes to low power.", "LV RESET: its supply dipped, and its settings were lost.", "ERR94: pins 6 and 14 are no CAN, or the wiring is bad."},
			onAll("Read again: the adapter is set up anew by itself. If it happens again, look at the 12 V supply and press the plug in fully."), []string{"S65"}},
	}
}

func visitTroubles() []Trouble {
	return []Trouble{
		{SomeSilent, "", "Some modules never answer.",
			[]string{"They are in another network of the car.", "They listen at other identifiers.", "They are awake only while the car is ready to drive.", "They are really dead.", "They are not fitted."},
			onAll("Leave them marked as no answer, and read once with the car ready to drive, parked."), []string{"S36"}},
		{Locked, "", "Reading works, and erasing is refused or answered with silence.",
			[]string{"A gateway lets no change through.", "The module is locked."},
			onAll("Stop here: this car needs access through its maker or a workshop."), []string{"memory"}},
		{NotNow, "", "The module refuses because the conditions are not right (7F 14 22).",
			[]string{"The car is ready to drive.", "A wheel turns.", "It is charging.", "The voltage is not right.", "A door or the gear is not as it must be."},
			onAll("Put the car to rest: parked, not ready, not charging, ignition on. Then try once more."), []string{"S30"}},
		{BackAgain, "", "The erase was agreed to, but the code is there again.",
			[]string{"The fault is there now.", "Another module reports it back.", "Another module was erased than the one that has it.", "The module never wrote it."},
			onAll("Don't erase again. Follow the readings of the proof plan; what the code tells of is still to be found."), []string{"proof"}},
		{MoreEntries, "", "After an erase there are more entries than before.",
			[]string{"The list also shows codes that are not tested yet.", "Other modules noticed the conversation."},
			onAll("Switch the ignition off, wait, switch it on, and read again."), []string{"S28", "S21"}},
		{StopsLater, "", "It works, and stops after some minutes.",
			[]string{"The car goes to sleep.", "The 12 V supply sags.", "The computer saves power at its USB port.", "The plug is loose."},
			onAll("Look at the 12 V supply, switch the ignition off and on again, and connect anew."), []string{"S18"}},
		{FlatNextDay, "", "The 12 V battery is flat the next morning.",
			[]string{"The adapter was left in the socket.", "Some cars stay awake while anything is plugged in."},
			onAll("Pull the plug out of the car whenever you are done."), []string{"S42"}},
		{ManyNetwork, "", "Many modules have codes that begin with U.",
			[]string{"The 12 V battery was flat once.", "Somebody worked on the battery.", "A module was unplugged."},
			onAll("Charge and test the 12 V battery before anything else. Don't change modules because of these codes."), []string{"S21"}},
		{Varies, "", "Each reading has another result.",
			[]string{"A second device talks to the car.", "A ground contact is bad.", "The adapter loses data."},
			onAll("Take every other device out of the car's sockets, and read again."), []string{"memory"}},
	}
}
