package gate

import "time"

// Reading is one measured value of the car's state.
type Reading struct {
	Value  float64
	At     time.Time
	Source Source
}

// State is what is known of the car when a change is proposed. The zero State knows nothing.
type State struct {
	Speed    *Reading  // km/h; nil when it can't be measured
	Motor    *Reading  // 1/min
	RunTime  *Reading  // seconds since the drive was switched on
	Supply   *Reading  // volts of the 12 V supply
	Supplies []Reading // earlier readings of it, kept by [Remember]; they show a supply that sags
	Charging *Reading  // 1 while a charging cable is in or a charge runs, else 0

	Said    map[Key]time.Time // the owner's own statements; each expires after 5 minutes
	Record  *RecordFacts      // the last reading of the whole car; nil when there is none
	Safety  SafetyFacts
	Reaches []string // names of the modules that a request to all modules reaches
}

// RecordFacts are the facts of a saved record that the gate needs.
type RecordFacts struct {
	At        time.Time // when the reading was finished
	Complete  bool      // every module known was asked and none was lost on the way
	Codes     int
	Snapshots int
	Modules   int // modules that answered
}

// SafetyFacts tell what the safety modules (airbag, brakes, steering, high voltage) hold.
type SafetyFacts struct {
	Read         bool      // the safety modules were read
	Now          []string  // module and code there now: "Brakes C0034-12"
	Target       string    // name of the safety module that the request goes to, "" when it goes to none
	Acknowledged time.Time // when the owner said that these codes were read; zero when not
}
