package gate

import "time"

// Key names a latch. It is also the word that the terminal's --say takes.
type Key string

const (
	Standing    Key = "standing"     // the car is standing still
	DriveOff    Key = "drive-off"    // the drive is off, the ignition is on
	SupplyGood  Key = "supply"       // the 12 V supply is in the band
	NotCharging Key = "not-charging" // no charging cable, no charge running
	RecordSaved Key = "record"       // a complete record was saved less than 5 minutes ago
	SafetyRead  Key = "safety"       // no safety module holds a code that is there now, or it was read and acknowledged
	SaidBack    Key = "said-back"    // the read-back words were given
	Reach       Key = "reach"        // a request to all modules: the owner has seen which modules it reaches
)

// Source tells where a latch's value comes from.
type Source string

const (
	Measured Source = "measured"      // measured by the adapter
	FromCar  Source = "from the car"  // read from a module
	Owner    Source = "owner"         // the owner's own statement, which expires after 5 minutes
	Program  Source = "program"       // known to the program itself
	Nothing  Source = "not known yet" // nothing is known
)

// Latch is one condition that must be in line before a change may pass.
type Latch struct {
	Key    Key           `json:"latch"`
	Title  string        `json:"title"` // "The car is standing still"
	InLine bool          `json:"inLine"`
	Value  string        `json:"value"` // "0 km/h", "12.7 V", "today 14:02"
	Why    string        `json:"why"`   // where the value comes from when in line, what is missing when not
	Source Source        `json:"source"`
	At     time.Time     `json:"at"` // when the value was taken; zero when nothing is known
	Age    time.Duration `json:"-"`
	CanSay bool          `json:"canSay"` // the owner's statement can close it
}
