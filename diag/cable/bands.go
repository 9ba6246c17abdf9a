package cable

import "math"

// band is what a range of values means. below is exclusive; the last band of a table has none.
type band struct {
	below  float64
	level  Level
	text   string
	next   string
	source string
}

var none = math.Inf(1)

// Sources that the bands rest on.
const (
	practice  = "common practice"
	levels    = "ISO 11898-2, levels of the two wires; common practice for the averages that a meter shows"
	resistors = "ISO 11898-2, end resistors; published service information: 55 to 65 Ω good, about 120 Ω one resistor, over 1 kΩ open"
	pins      = "SAE J1962 / ISO 15031-3, pins of the socket"
	plug      = "CiA 303-1, pins of the 9-pin plug"
	rest      = "published rest voltages of 12 V batteries; common practice for diagnosis"
)

const (
	notAMeasurement = "This is no measurement: something is awake or a voltage is present."
	repeatAsleep    = "Lock the car, take the key away, wait ten minutes, then measure the volts first and the ohms again."
)

var wireOhms = []band{
	{0, Doubt, notAMeasurement, "Unplug the cable at both ends and measure again.", practice},
	{0.5 + 1e-9, Good, "Joined, as it should be.", "", practice},
	{2 + 1e-9, Note, "Joined. A little high, which a thin wire or a simple meter explains.", "", practice},
	{10 + 1e-9, Doubt, "A poor joint.", "Redo this joint, then measure again.", practice},
	{none, Doubt, "Not joined, or broken.", "Check that this wire goes to this pin, then redo it.", practice},
}

var betweenWires = []band{
	{0, Doubt, notAMeasurement, "Unplug the cable at both ends and measure again.", practice},
	{10, Stop, "The two data wires touch each other.", "Do not plug it in. Find where they touch.", practice},
	{50, Stop, "Something joins the two data wires.", "Do not plug it in. Find what joins them.", practice},
	{70 + 1e-9, Doubt, "Two end resistors are built into this cable.", "Take both out: a car has its own.", resistors},
	{100, Doubt, "Something joins the two data wires.", "Find what joins them before you plug it in.", practice},
	{130 + 1e-9, Doubt, "An end resistor is built into the plug.", "Take it out: a car has its own two.", resistors},
	{100e3 + 1, Doubt, "Something joins the two data wires.", "Find what joins them before you plug it in.", practice},
	{1e6, Note, "Not joined, as it should be, but less than 1 MΩ.", "", practice},
	{none, Good, "No short between the two wires.", "", practice},
}

var insulation = []band{
	{1e6 + 1, Stop, "These two are joined, and must not be.", "Do not plug it in. Find where they touch.", practice},
	{none, Good, "Not joined, as it should be.", "", practice},
}

var supplyInsulation = []band{
	{1e6 + 1, Stop, "Battery plus is joined to another contact. A fuse or a module is at risk.", "Do not plug it in. Cut this joint.", pins},
	{none, Good, "Not joined, as it should be.", "", pins},
}

var supplyWire = []band{
	{1e6 + 1, Doubt, "Battery plus reaches the adapter's plug. That is wanted only if the adapter is powered by the car.", "If it is not, cut this wire. If it is, put a fuse of 1 A into it and cover the contact.", plug},
	{none, Good, "Battery plus stays in the car, as it should for an adapter with its own supply.", "", plug},
}

var ownResistor = []band{
	{0, Doubt, notAMeasurement, "Unplug the adapter at both ends and measure again.", practice},
	{50, Doubt, "Far too low for any adapter.", "Do not use this adapter on a car.", practice},
	{70 + 1e-9, Doubt, "Two end resistors are switched on in the adapter.", "Switch both off: a car has its own.", resistors},
	{110, Doubt, "Something is switched on between the two wires.", "Look for a switch or a jumper in the adapter.", practice},
	{130 + 1e-9, Doubt, "The adapter's end resistor is on.", "Switch it off or take the jumper out: a car has its own two.", resistors},
	{10e3 + 1e-9, Note, "No end resistor, but less than most adapters show.", "", practice},
	{none, Good, "No end resistor in the adapter, as it should be on a car.", "", resistors},
}

var asleepVolts = []band{
	{-0.05, Doubt, notAMeasurement, "Swap the probes and measure again.", practice},
	{0.2, Good, "Asleep: ohms can be measured now.", "", practice},
	{none, Doubt, "The car is awake. Ohms would mean nothing now.", repeatAsleep, practice},
}

var endResistors = []band{
	{0, Doubt, notAMeasurement, repeatAsleep, practice},
	{5, Stop, "The two data wires touch each other.", "Pull out everything you added, measure again; if it stays, a workshop.", resistors},
	{35, Doubt, "Partly shorted, or four and more end resistors.", "Pull out everything you added, then measure again.", resistors},
	{50, Doubt, "One end resistor too many: three of them make 40 Ω. Mostly it sits in an adapter or another gadget.", "Unplug gadgets, or switch the adapter's resistor off.", resistors},
	{55, Note, "A little low. Many modules lower it; this is accepted.", "", resistors},
	{65 + 1e-9, Good, "Both line ends are in place.", "", resistors},
	{70, Note, "A little high. This is accepted.", "Look for dirt on the pins.", resistors},
	{110, Doubt, "A poor contact, or an end resistor that has drifted.", "Clean the pins, then measure again.", resistors},
	{135, Doubt, "Only one end resistor is seen: a wire to one end is open, or this car has a gateway with one resistor at the socket.", "Try to talk to the car. If errors come, a workshop.", resistors},
	{1e3, Doubt, "A bad joint somewhere in the line.", "Move the plug a little and measure again.", practice},
	{100e3, Doubt, "No end resistors: only chips are seen. Wrong pins, both ends open, or a gateway that sleeps.", "Check the pin numbers: the socket is the mirror image of the plug.", resistors},
	{none, Doubt, "Nothing is connected at these two pins.", "Check the pin numbers. Without wires on 6 and 14 this car does not talk here.", pins},
}

var toGround = []band{
	{0, Doubt, notAMeasurement, repeatAsleep, practice},
	{10, Stop, "A dead short of this wire.", "Do not plug in. Pull out everything you added, measure again; if it stays, a workshop.", "published service information: a shorted line reads 0 here, the other about 60 Ω"},
	{1e3, Doubt, "Suspicious: a wire with less than 1 kΩ may be shorted.", "Measure again asleep; if it stays, a workshop.", "published service information: under 1 kΩ to ground, a short is suspected"},
	{100e3, Good, "Usual: inputs of chips are seen.", "", practice},
	{none, Good, "As it should be.", "", practice},
}

var highVolts = []band{
	{-0.2, Doubt, "Below ground: wrong pins, or a bad ground.", "Measure again against pin 4.", practice},
	{0.3, Doubt, "Asleep, or held to ground.", "Switch the ignition on, wait 20 seconds, and measure again.", levels},
	{2.3, Doubt, "Too low for a bus that is awake.", "Measure pin 14 too, then the ohms to ground.", levels},
	{2.6 + 1e-9, Good, "Awake; little is said.", "", levels},
	{3.0 + 1e-9, Good, "Awake, with traffic.", "", levels},
	{5, Doubt, "Too high for this wire.", "Measure pin 14 too.", levels},
	{none, Stop, "This wire carries battery voltage.", "Unplug everything at once.", levels},
}

var lowVolts = []band{
	{-0.2, Doubt, "Below ground: wrong pins, or a bad ground.", "Measure again against pin 4.", practice},
	{0.3, Doubt, "Asleep, or held to ground.", "Switch the ignition on, wait 20 seconds, and measure again.", levels},
	{2.0, Doubt, "Too low for a bus that is awake.", "Measure pin 6 too, then the ohms to ground.", levels},
	{2.3, Good, "Awake, with traffic.", "", levels},
	{2.6 + 1e-9, Good, "Awake; little is said.", "", levels},
	{4.5, Doubt, "Too high for this wire.", "Measure pin 6 too.", levels},
	{5 + 1e-9, Doubt, "Rests near 5 V: this may be a slow bus of another kind.", "Measure pin 6 too. Do not connect before you know.", levels},
	{none, Stop, "This wire carries battery voltage.", "Unplug everything at once.", levels},
}

var supplyVolts = []band{
	{-0.2, Doubt, "Plus and minus are swapped.", "Swap the probes.", pins},
	{1, Doubt, "No supply at this pin.", "Look at the fuse; it is often shared with the lighter socket.", pins},
	{11.5, Stop, "The 12 V battery is flat.", "Charge it first. Nothing should be read or sent now.", rest},
	{12.0, Doubt, "The 12 V battery is nearly empty.", "Charge it first. A short reading is possible, erasing is not.", rest},
	{12.2, Note, "The 12 V battery is low.", "Reading is possible. Charge it before erasing.", rest},
	{12.4, Note, "The 12 V battery is fair.", "Reading is possible. For erasing, connect a 12 V charger first.", rest},
	{12.8 + 1e-9, Good, "The 12 V battery is well charged.", "", rest},
	{13.2, Good, "Just charged, or a lithium battery.", "", rest},
	{14.8 + 1e-9, Good, "A charger or the car's converter is at work.", "", rest},
	{15 + 1e-9, Note, "High.", "Do not erase anything now. Find what charges this high.", rest},
	{none, Stop, "Too high: something charges wrongly.", "Stop. A workshop should look at it.", rest},
}

var groundVolts = []band{
	{-0.2, Doubt, "The ground pin differs from the body.", "A bad ground. A workshop should look at it.", practice},
	{0.1, Good, "A good ground.", "", practice},
	{0.2 + 1e-9, Note, "A fair ground.", "", "a training text: up to 0.2 V"},
	{none, Doubt, "The ground pin differs from the body.", "A bad ground. A workshop should look at it.", practice},
}
