package kwp

// Status is the status byte of a code in the answers to 17 and 18 (statusOfDTC). It is laid out otherwise than
// Status of diag/dtc, and neither can be read as the other:
//
//	bits 0-3  fault symptom: 0 none told, 1 above the maximum, 2 below the minimum, 4 no signal, 8 invalid signal
//	bit 4     readiness: 0 the test has been completed, or there is none; 1 it has not
//	bits 5-6  storage state: see Storage
//	bit 7     the code may ask for the warning lamp
//
// From memory of ISO 14230-3; two independent open programs read the symptom and the storage state in the same way.
type Status byte

// Storage is the storage state of a code.
type Storage uint8

const (
	NotDetected  Storage = iota // the test has found nothing
	NotPresent                  // stored, and not there now
	Intermittent                // there now, not yet for long enough to be stored
	Present                     // stored, and there now
)

var storages = [...]string{
	NotDetected:  "not found",
	NotPresent:   "stored, not there now",
	Intermittent: "there now, not stored yet",
	Present:      "stored, and there now",
}

func (s Storage) String() string { return storages[s&3] }

// Storage is the state of bits 5 and 6.
func (s Status) Storage() Storage { return Storage(s >> 5 & 3) }

// Complete reports that the test of the code has been completed, or that there is none (bit 4).
func (s Status) Complete() bool { return s&0x10 == 0 }

// Lamp reports that the code may ask for the warning lamp (bit 7).
func (s Status) Lamp() bool { return s&0x80 != 0 }

// Symptom is the fault symptom in words; ok is false where the module tells none, or one that the standard does not
// name. Some makers use these four bits for a list of their own.
func (s Status) Symptom() (text string, ok bool) {
	switch s & 0x0F {
	case 1:
		return "above the maximum", true
	case 2:
		return "below the minimum", true
	case 4:
		return "no signal", true
	case 8:
		return "invalid signal", true
	}
	return "", false
}

// Faulty tells whether the entry is a fault: stored, or there now.
func (s Status) Faulty() bool { return s.Storage() != NotDetected }
